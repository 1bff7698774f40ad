//! Who: the technician with a gauge in one hand. Moments: Test, Strip, and Prove with its readings after the work.
//! Why so: cautions first, then one field with its unit beside it and a keypad wide enough for a glove; for a look, one
//! broad key an outcome. After keeping, the verdict, what it moved, and the next place stand where the field was.

use anatomy::{EntryId, Position};
use documents::pictures;
use knowledge::{Check, Reading, ReadingKind};
use logbook::{Moment, Phase, ReadingTaken};
use maud::{Markup, PreEscaped, html};
use quantity::{Question, Unit};
use workup::Notice;

use super::{Panel, View, panel_place};
use crate::entering::{self, Given, Refused, found, in_one_way, possible};
use crate::surroundings;
use crate::trouble::FieldTrouble;
use crate::words::{sentence, title, words};

/// Readings of a check that this engine can give.
fn readings_here<'k>(view: &View, check: &'k Check) -> Vec<&'k Reading> {
    let fits = |r: &&Reading| r.applies.iter().all(|a| view.told(&a.attribute).is_none_or(|v| v == a.value));
    check.readings.iter().filter(fits).collect()
}

/// Places of a check on this engine.
fn places_of(view: &View, check: &Check) -> Vec<Position> {
    let layout = view.state().layout.as_ref();
    layout.map_or_else(Vec::new, |layout| check.scope.iter().flat_map(|s| layout.positions(*s)).collect())
}

fn phase_of(word: &str) -> Phase {
    Phase::ALL.iter().copied().find(|p| p.word() == word).unwrap_or(Phase::AsFound)
}

/// The phase as an address says it: nothing for the usual one.
fn phase_word(phase: Phase) -> &'static str {
    if phase == Phase::AsFound { "" } else { phase.word() }
}

fn is_taken(view: &View, check: &str, reading: &str, position: &Position, phase: Phase) -> bool {
    let same =
        |r: &ReadingTaken| r.check == check && r.reading == reading && r.position == *position && r.phase == phase;
    view.state().readings.iter().any(same)
}

/// The next reading of the same round that is not taken yet.
fn next_of_round(view: &View, check: &Check, after: &Position, phase: Phase) -> Option<(String, Position)> {
    let places = places_of(view, check);
    let from = places.iter().position(|p| p == after).unwrap_or(0);
    let round = places.iter().skip(from).chain(places.iter().take(from));
    let readings = readings_here(view, check);
    round
        .flat_map(|p| readings.iter().map(move |r| (r.id.clone(), *p)))
        .find(|(reading, p)| !is_taken(view, &check.id, reading, p, phase))
}

/// The verdicts as the script of a page names them.
const VERDICTS: [(&str, quantity::Verdict); 4] = [
    ("inside", quantity::Verdict::Inside),
    ("by-judgement", quantity::Verdict::ByJudgement),
    ("outside", quantity::Verdict::Outside),
    ("cannot-tell", quantity::Verdict::CannotTell),
];

/// The field by which the typist says that a figure past the end of its gauge was read so all the same.
pub(crate) const READ_SO: &str = "read-so";

/// Why a reading came back instead of being kept; nothing for a field that is filled for the first time.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Back<'a> {
    pub(crate) errors: &'a [FieldTrouble],
    pub(crate) question: Option<&'a Question>,
    /// The gauge named cannot show the figure.
    pub(crate) past: Option<&'a Notice>,
}

impl<'a> Back<'a> {
    /// With what does not fit, or with what only the typist can say.
    pub(crate) const fn refused(errors: &'a [FieldTrouble], question: Option<&'a Question>) -> Self {
        Self { errors, question, past: None }
    }
}

/// The page with the field.
pub(crate) fn page(view: &View, given: &Given, back: Back<'_>) -> Markup {
    let moment = match phase_of(&given.phase) {
        Phase::AsFound => Moment::Test,
        Phase::Arrival => Moment::Order,
        Phase::AsLeft => Moment::Prove,
        Phase::Recheck => Moment::HandBack,
    };
    let Some(check) = view.knowledge().check(&given.check).map(|c| &c.value) else {
        let why = match found(view.knowledge(), &given.check, &given.reading) {
            Err(Refused::Fields(list)) => list.first().map(|e| e.message.clone()).unwrap_or_default(),
            Err(Refused::Asks(_)) | Ok(_) => String::new(),
        };
        let body = html! {
            section.sheet {
                h2 { "No such check" }
                p { (why) }
                p {
                    a.button href=(view.link("test")) { "Back to Test" }
                }
            }
        };
        return view.page(Moment::Test, &body, None);
    };
    let cautions = view.cautions_for(&check.cautions);
    let holding = view.holding(&cautions);
    let readings = readings_here(view, check);
    let places = places_of(view, check);
    let phase = phase_of(&given.phase);
    let placed = match &view.state().layout {
        Some(layout) if !given.position.is_empty() => {
            Some(workup::entering::place(layout, check, &given.position).map_err(|why| entering::field(&why).message))
        }
        Some(_) | None => None,
    };
    let (position, stray) = match placed {
        Some(Ok(position)) => (Some(position), None),
        Some(Err(why)) => (None, Some(why)),
        None => (None, None),
    };
    let (reading, position) = match (readings.iter().find(|r| r.id == given.reading), position) {
        (Some(r), Some(p)) => (Some(*r), Some(p)),
        (Some(r), None) => {
            let open = places.iter().find(|p| !is_taken(view, &check.id, &r.id, p, phase));
            (Some(*r), open.or_else(|| places.first()).copied())
        }
        (None, p) => {
            let open = p
                .into_iter()
                .chain(places.iter().copied())
                .find_map(|p| readings.iter().find(|r| !is_taken(view, &check.id, &r.id, &p, phase)).map(|r| (*r, p)));
            match open {
                Some((r, open_at)) if p.is_none_or(|p| p == open_at) => (Some(r), Some(open_at)),
                Some(_) | None => (readings.first().copied(), p.or_else(|| places.first().copied())),
            }
        }
    };
    let link = |r: &str, p: &Position| {
        view.link(&format!("enter?check={}&reading={r}&position={}&phase={}", check.id, p.address(), given.phase))
    };
    let body = html! {
        article
            .entering
            data-check=(check.id)
            data-at=[position.map(|p| p.address())]
            data-round=[reading.zip(position).map(|(r, p)| round(view, check, r, &p, &places, given).to_string())]
        {
            h2 {
                (check.name)
                @if phase != Phase::AsFound {
                    span.phase { " · " (words(phase.word())) }
                }
            }
            // The signs of a verdict, for one that is drawn on the phone.
            template data-marks="" {
                @for (word, verdict) in VERDICTS {
                    span data-mark=(word) { (crate::marks::mark(crate::marks::of_verdict(verdict, false))) }
                }
            }
            (view.cautions(&cautions))
            @if let Some(note) = &check.note {
                details.fold {
                    summary { "How it is done" }
                    p { (note) }
                }
            }
            @match (reading, position) {
                (Some(reading), Some(position)) => {
                    @if places.len() > 1 || stray.is_some() {
                        nav.chips aria-label="Places" {
                            @for p in &places {
                                a   href=(link(&reading.id, p))
                                    data-at=(p.address())
                                    aria-current=[(*p == position && stray.is_none()).then_some("true")]
                                    class=({
                                        if is_taken(view, &check.id, &reading.id, p, phase) {
                                            "taken"
                                        } else {
                                            ""
                                        }
                                    })
                                { (view.place(p)) }
                            }
                        }
                    }
                    @if readings.len() > 1 {
                        nav.chips aria-label="Readings of this check" {
                            @for r in &readings {
                                a   href=(link(&r.id, &position))
                                    aria-current=[(r.id == reading.id).then_some("true")]
                                    class=({
                                        if is_taken(view, &check.id, &r.id, &position, phase) {
                                            "taken"
                                        } else {
                                            ""
                                        }
                                    })
                                { (title(&r.id)) }
                            }
                        }
                    }
                    @let shut = possible(
                            view.state(),
                            view.knowledge(),
                            check,
                            reading,
                            Some(phase),
                            view.case.as_deref(),
                        )
                        .err();
                    @if let Some(why) = &stray {
                        (shut_out("Not at that place.", Some(why), given))
                    } @else if let Some(why) = shut {
                        (shut_out("Not now.", Some(&why), given))
                        p {
                            a.button href=(view.link("strip")) { "Tell the stage" }
                            " "
                            a.button href=(view.link("test#note-written")) { "Write a note" }
                        }
                    } @else if !holding.is_empty() {
                        // Ticked out of reach of the shop, the caution opens the field on the phone.
                        section
                            .wrong
                            .shut
                            role="alert"
                            data-held-by=(holding.join(" "))
                            data-field=(field(view, check, reading, &position, given, back).into_string())
                        {
                            b { "Tick the caution above, then the field opens." }
                            (typed_already(given))
                        }
                    } @else {
                        (super::standing::start(view, check, &position, phase))
                        (field(view, check, reading, &position, given, back))
                    }
                    (taken_here(view, check, reading, &position))
                }
                _ => p.wrong {
                    @if view.state().layout.is_none() {
                        "Nobody has described the engine yet. "
                        a href=(view.link("hear#engine-described")) { "Describe it" }
                    } @else { "This engine has no place for this check." }
                },
            }
        }
    };
    view.page(moment, &body, None)
}

fn hidden(given: &Given, check: &Check, reading: &Reading, position: &Position) -> Markup {
    html! {
        input type="hidden" name="entry" value=(surroundings::new_entry());
        input type="hidden" name="check" value=(check.id);
        input type="hidden" name="reading" value=(reading.id);
        input type="hidden" name="position" value=(position.address());
        input type="hidden" name="phase" value=(given.phase);
    }
}

fn carried(given: &Given) -> Markup {
    html! {
        @for (name, value) in {
            [
                ("gauge-used", format!("{}|{}", given.gauge, given.label)),
                ("unit", given.unit.clone()),
                ("spot", given.spot.clone()),
                ("temperature", given.temperature.clone()),
                ("note", given.note.clone()),
            ]
        } {
            input type="hidden" name=(name) value=(value);
        }
    }
}

/// Why there is no field here; what was typed already is not lost.
fn shut_out(what: &str, why: Option<&String>, given: &Given) -> Markup {
    html! {
        section.wrong.shut role="alert" {
            b { (what) }
            @if let Some(why) = why { " " (why) "." }
            (typed_already(given))
        }
    }
}

fn typed_already(given: &Given) -> Markup {
    html! {
        @if !given.value.is_empty() {
            p {
                "Typed and still here: "
                b { (given.value) }
            }
        }
    }
}

/// What the page needs to go on to the next place by itself while the shop is out of reach: the places in their sequence,
/// the readings of the check, and which of them are taken.
fn round(
    view: &View,
    check: &Check,
    reading: &Reading,
    position: &Position,
    places: &[Position],
    given: &Given,
) -> serde_json::Value {
    let phase = phase_of(&given.phase);
    let readings = readings_here(view, check);
    let taken: Vec<_> = places
        .iter()
        .flat_map(|p| readings.iter().map(move |r| (p, r)))
        .filter(|(p, r)| is_taken(view, &check.id, &r.id, p, phase))
        .map(|(p, r)| serde_json::json!([p.address(), r.id]))
        .collect();
    let judge = view.state().layout.as_ref().and_then(|layout| {
        workup::on_phone::judging(view.state(), layout, view.knowledge(), (check, reading), places, phase)
    });
    let unit = |r: &Reading| match &r.kind {
        ReadingKind::Numeric(numeric) => Some(numeric.unit.clone()),
        ReadingKind::Graded { .. } | ReadingKind::Nominal { .. } => None,
    };
    serde_json::json!({
        "check": check.id, "name": check.name, "phase": given.phase, "reading": reading.id, "at": position.address(),
        "readings": readings.iter()
            .map(|r| serde_json::json!({"id": r.id, "title": title(&r.id), "unit": unit(r)}))
            .collect::<Vec<_>>(),
        "places": places.iter()
            .map(|p| serde_json::json!({"at": p.address(), "label": view.place(p)}))
            .collect::<Vec<_>>(),
        "taken": taken, "judge": judge,
    })
}

fn field(
    view: &View,
    check: &Check,
    reading: &Reading,
    position: &Position,
    given: &Given,
    Back { errors, question, past }: Back<'_>,
) -> Markup {
    let action = view.link("enter");
    let wrong = html! {
        @if !errors.is_empty() {
            div.wrong id="value-wrong" role="alert" {
                b { "Not kept yet. " }
                @for e in errors {
                    p { (e.message) }
                }
            }
        }
    };
    match &reading.kind {
        ReadingKind::Graded { outcomes, .. } | ReadingKind::Nominal { outcomes, .. } => html! {
            form.outcomes-form method="post" action=(action) data-once="" {
                (hidden(given, check, reading, position))
                (wrong)
                fieldset {
                    legend { (title(&reading.id)) ", " span data-place="" { (view.place(position)) } ": what do you see?" }
                    div.outcome-keys {
                        @for o in outcomes {
                            button.key type="submit" name="value" value=(o) { (words(o)) }
                        }
                    }
                }
                (more(view, check, reading, given, false))
            }
        },
        ReadingKind::Numeric(numeric) => {
            let (beside, units) = units(view, check, reading, numeric, given);
            html! {
                @if let Some(question) = question {
                    section.sheet.question role="alert" {
                        h3 { (question.ask) }
                        div.outcome-keys {
                            @for typed in &question.readings {
                                form method="post" action=(action) data-once="" {
                                    (hidden(given, check, reading, position))
                                    (carried(given))
                                    button.key type="submit" name="value" value=(in_one_way(typed)) {
                                        (in_one_way(typed))
                                    }
                                }
                            }
                        }
                    }
                }
                @if let Some(notice) = past {
                    section.sheet.question role="alert" {
                        h3 { "Was it read so?" }
                        p { (sentence(&notice.message)) ". Not kept yet: " (notice.what_to_do) "." }
                        form method="post" action=(action) data-once="" {
                            (hidden(given, check, reading, position))
                            (carried(given))
                            input type="hidden" name="mean_of" value=(given.mean_of);
                            input type="hidden" name="value" value=(given.value);
                            button type="submit" name=(READ_SO) value="yes" { "It was read so: keep it" }
                        }
                    }
                }
                @if let Some(of) = &reading.face {
                    @let begun = view
                        .state()
                        .readings_of(&check.id, &reading.id, position)
                        .iter()
                        .any(|r| !r.stations.is_empty());
                    details.fold open[begun || !given.stations.is_empty()] {
                        summary { "Station by station, for a map of the whole face" }
                        (stations_form(view, check, reading, position, given, of, errors))
                    }
                }
                form.number-form method="post" action=(action) data-once="" {
                    (hidden(given, check, reading, position))
                    @if given.stations.is_empty() { (wrong) }
                    label for="value" { (title(&reading.id)) ", " span data-place="" { (view.place(position)) } (format!(" in {beside}")) }
                    @if let Some(measures) = &numeric.measures {
                        p.quiet { (measures) }
                    }
                    div.number {
                        input
                            .bigvalue
                            type="text"
                            id="value"
                            name="value"
                            value=(given.value)
                            inputmode="decimal"
                            autocomplete="off"
                            autofocus
                            required
                            enterkeyhint="done"
                            aria-describedby=[(!errors.is_empty()).then_some("value-wrong")];
                        @if units.len() > 1 {
                            select.unit name="unit" aria-label="unit" {
                                @for u in &units {
                                    option value=(u) selected[**u == *beside] { (u) }
                                }
                            }
                        } @else {
                            span.unit { (beside) }
                        }
                    }
                    div.keypad data-keypad="value" hidden {
                        @for key in ["1", "2", "3", "4", "5", "6", "7", "8", "9", "±", "0", "."] {
                            button
                                .key
                                type="button"
                                data-key=(key)
                                aria-label=({
                                    match key {
                                        "±" => "plus or minus",
                                        "." => "decimal point",
                                        other => other,
                                    }
                                })
                            { (key) }
                        }
                        button
                            .key
                            type="button"
                            data-key="back"
                            aria-label="take the last digit back"
                        { "⌫" }
                        button
                            .key
                            type="button"
                            data-key="; "
                            aria-label="; again: one more reading of the same thing"
                        { "; again" }
                        button.key.keep type="submit" { "Keep" }
                    }
                    button.keep.no-keypad type="submit" { "Keep it" }
                    (more(view, check, reading, given, true))
                    @if reading.three_axes {
                        p.quiet {
                            "The three sizes of one height stand together as 0: 88.02; 45: 88.03; 90: 88.01, counted in degrees from across the crank: "
                            "the oval through them counts."
                        }
                    }
                    p.quiet {
                        "Several readings of the same thing stand together with semicolons: 0.05; 0.06; 0.05. Their mean counts. "
                        "Another unit may be typed behind the number: 7 thou, 25 ft-lb, 1/64 in. "
                        "Point and comma are both read."
                    }
                }
            }
        }
    }
}

/// How many stations one line can have on the form; more are two entries of the line \[ours\].
const STATIONS: usize = 9;

/// The stations that were typed, in the way they are read: from the rows of the form, else as one text.
pub(crate) fn stations_typed(typed: &crate::forms::Typed) -> String {
    let of = |name: &str, n: usize| typed.get(&format!("{name}-{n}")).map_or("", |t| t.trim());
    let rows: Vec<String> = (0..STATIONS)
        .map(|n| (of("along", n), of("enters", n), of("refused", n)))
        .filter(|(along, enters, refused)| !(along.is_empty() && enters.is_empty() && refused.is_empty()))
        .map(|(along, enters, refused)| format!("{along}: {enters}..{refused}"))
        .collect();
    if rows.is_empty() { typed.get("stations").cloned().unwrap_or_default() } else { rows.join("; ") }
}

/// A straightedge laid down once: its line, and station by station the blade that enters and the one that is refused.
fn stations_form(
    view: &View,
    check: &Check,
    reading: &Reading,
    position: &Position,
    given: &Given,
    of: &knowledge::FaceOf,
    errors: &[FieldTrouble],
) -> Markup {
    use workup::faces::{LINES, Line, size_names, size_told};
    let sheet: Vec<logbook::EngineFigure> = view.state().sheet.iter().map(|f| f.body.clone()).collect();
    let told = size_told(&sheet, of, position);
    let size = if let [Some(length), Some(width)] = told { Some([length, width]) } else { None };
    let typed: Vec<[String; 3]> = given
        .stations
        .split([';', '\n'])
        .filter_map(|text| text.split_once(':'))
        .map(|(along, gap)| {
            let (enters, refused) = gap.split_once("..").unwrap_or((gap, ""));
            [along, enters, refused].map(|part| part.trim().to_owned())
        })
        .collect();
    let there = |n: usize, k: usize| typed.get(n).and_then(|row| row.get(k)).cloned().unwrap_or_default();
    let chosen = Line::named(&given.spot);
    let taken =
        |line: &Line| {
            let same = |r: &&ReadingTaken| r.check == check.id && r.position == *position && !r.stations.is_empty();
            let phase = phase_of(&given.phase);
            view.state().readings.iter().filter(same).any(|r| {
                r.phase == phase && r.spot.as_deref().and_then(Line::named).is_some_and(|l| l.name == line.name)
            })
        };
    html! {
        form.stations-form method="post" action=(view.link("enter")) data-once="" {
            (hidden(given, check, reading, position))
            @if !given.stations.is_empty() && !errors.is_empty() {
                div.wrong id="stations-wrong" role="alert" {
                    b { "Not kept yet. " }
                    @for e in errors { p { (e.message) } }
                }
            }
            @if size.is_none() {
                p.quiet {
                    "For the whole face its size is missing on the "
                    a href=(view.link("hear#engine-figure-set")) { "engine sheet" }
                    ": "
                    ({
                        size_names(of)
                            .iter()
                            .zip(told)
                            .filter(|(_, told)| told.is_none())
                            .map(|((_, name), _)| name.clone())
                            .collect::<Vec<_>>()
                            .join("; ")
                    })
                    ". Until then each line is judged by itself."
                }
            }
            div.field {
                label for="line" { "The straightedge lies along" }
                select id="line" name="spot" required {
                    option value="" { "–" }
                    @for line in LINES {
                        option value=(line.name) selected[chosen.is_some_and(|c| c.name == line.name)] {
                            (line.ends[0])
                            "–"
                            (line.ends[1])
                            " "
                            (words(line.name))
                            @if let Some(size) = size { ", " (quantity::print::printed(line.length(size), 3)) " mm" }
                            @if taken(line) { " ✓" }
                        }
                    }
                }
                p.quiet {
                    "Facing the front: A left, B middle, C right; at the rear D left, E middle, F right; half way G left, H right. "
                    "Mark them on the casting."
                }
            }
            table.stations {
                caption.quiet { "Blades in mm: the thickest that enters, left out where none does, and the thinnest that is refused" }
                thead {
                    tr {
                        th scope="col" { "mm along" }
                        th scope="col" { "enters" }
                        th scope="col" { "refused" }
                    }
                }
                tbody {
                    @for n in 0..STATIONS {
                        tr {
                            @for (k, (name, label)) in [("along", "how far along"), ("enters", "blade that enters"), ("refused", "blade refused")].iter().enumerate() {
                                td {
                                    input
                                        type="text"
                                        size="6"
                                        inputmode="decimal"
                                        name=(format!("{name}-{n}"))
                                        value=(there(n, k))
                                        aria-label=(format!("station {}, {label}", n + 1));
                                }
                            }
                        }
                    }
                }
            }
            (gauge_field(view, check, reading, given, "edge-used"))
            button.keep type="submit" { "Keep this line" }
        }
    }
}

/// The unit beside the number, and those it may be changed for: that of the last such reading of this job, since a
/// gauge does not change its scale between two cylinders, else that of the reading.
fn units(
    view: &View,
    check: &Check,
    reading: &Reading,
    numeric: &knowledge::Numeric,
    given: &Given,
) -> (String, Vec<&'static str>) {
    let same = |r: &&ReadingTaken| r.check == check.id && r.reading == reading.id;
    let last = view.state().readings.iter().rev().find(same).and_then(|r| match &r.value {
        logbook::ReadingValue::Number { unit, .. } => Some(unit.clone()),
        logbook::ReadingValue::Outcome(_) => None,
    });
    let kind = Unit::from_symbol(&numeric.unit).map(Unit::dimension).ok();
    let all: Vec<&'static str> = kind.into_iter().flat_map(Unit::of).map(Unit::symbol).collect();
    let wanted = if given.unit.is_empty() { last } else { Some(given.unit.clone()) };
    let beside = wanted.filter(|u| all.contains(&u.as_str())).unwrap_or_else(|| numeric.unit.clone());
    (beside, all)
}

/// Which gauge was used.
fn gauge_field(view: &View, check: &Check, reading: &Reading, given: &Given, id: &str) -> Markup {
    let kinds: Vec<&String> = check.gauges.iter().chain(reading.gauge.as_ref()).collect();
    let laid: Vec<_> = view.state().gauges.iter().filter(|(_, g)| kinds.iter().any(|k| **k == g.body.gauge)).collect();
    let chosen = if given.gauge.is_empty() && given.label.is_empty() {
        laid.last().map(|(label, g)| format!("{}|{label}", g.body.gauge)).unwrap_or_default()
    } else {
        format!("{}|{}", given.gauge, given.label)
    };
    let mut named: Vec<&str> = kinds.iter().map(|k| k.as_str()).collect();
    named.sort_unstable();
    named.dedup();
    let gauge = |id: &str| view.knowledge().gauge(id).map_or_else(|| words(id), |g| g.name.clone());
    html! {
        @if !kinds.is_empty() {
            div.field {
                label for=(id) { "Gauge" }
                select id=(id) name="gauge-used" {
                    option value="|" { "not said" }
                    @for (label, g) in &laid {
                        @let value = format!("{}|{label}", g.body.gauge);
                        option value=(value) selected[value == chosen] {
                            (label)
                            " ("
                            (gauge(&g.body.gauge))
                            ")"
                            @if view.state().doubted_gauges.contains_key(*label) { " – doubted" }
                        }
                    }
                    @for id in &named {
                        @let value = format!("{id}|");
                        option value=(value) selected[value == chosen] { (gauge(id)) ", no mark" }
                    }
                }
            }
        }
    }
}

/// Gauge, spot, temperature and note.
fn more(view: &View, check: &Check, reading: &Reading, given: &Given, number: bool) -> Markup {
    html! {
        @if number { (gauge_field(view, check, reading, given, "gauge-used")) }
        (worked_out(check))
        details
            .fold
            open[
                !given.note.is_empty() || !given.spot.is_empty()
                    || !given.temperature.is_empty()
            ]
        {
            summary { "Spot, temperature, note" }
            div.field {
                label for="spot" { "Where within the place" }
                input type="text" id="spot" name="spot" value=(given.spot);
            }
            @if number {
                div.field {
                    label for="mean_of" { "Mean of how many readings (where they are not typed one by one)" }
                    input type="text" inputmode="numeric" id="mean_of" name="mean_of" value=(given.mean_of);
                }
                div.field {
                    label for="temperature" { "Temperature of part or oil (°C)" }
                    input
                        type="text"
                        inputmode="decimal"
                        id="temperature"
                        name="temperature"
                        value=(given.temperature);
                }
            }
            div.field {
                label for="note" { "Note" }
                input type="text" id="note" name="note" value=(given.note);
            }
        }
    }
}

/// The bench calculators that work something out of the readings of a check.
fn worked_out(check: &Check) -> Markup {
    let all: Vec<_> = check.calculators.iter().filter_map(|id| mechanics::calculator(id).ok()).collect();
    html! {
        @if !all.is_empty() {
            p.worked-out {
                "Work it out: "
                @for c in &all { a href=(format!("/calculators/{}", c.id)) { (c.name) } " " }
            }
        }
    }
}

/// What was read here before: two readings of one thing are both kept, and a third is asked for.
fn taken_here(view: &View, check: &Check, reading: &Reading, position: &Position) -> Markup {
    let taken = view.state().readings_of(&check.id, &reading.id, position);
    html! {
        @if !taken.is_empty() {
            section.taken data-at=(position.address()) {
                h3 { "Read here already" }
                ul {
                    @for r in &taken {
                        li {
                            (shown(r))
                            span.quiet {
                                " · "
                                (words(r.phase.word()))
                                " · "
                                (r.by)
                                " · "
                                (crate::words::when(r.at))
                                @if let Some(s) = &r.spot { " · " (s) }
                                " · kept in the shop"
                            }
                        }
                    }
                }
                @if taken.len() == 2 {
                    p {
                        "Two readings of one thing are both kept; where they differ, take a third."
                    }
                }
            }
        }
    }
}

fn shown(r: &ReadingTaken) -> String {
    match &r.value {
        logbook::ReadingValue::Outcome(outcome) => words(outcome),
        logbook::ReadingValue::Number { text, unit } if !r.axes.is_empty() => {
            format!("{text} {unit}, oval by three axes")
        }
        logbook::ReadingValue::Number { text, unit } if !r.stations.is_empty() => {
            format!("{text} {unit} at most, {} stations", r.stations.len())
        }
        logbook::ReadingValue::Number { text, unit } => match r.mean_of {
            Some(n) => format!("{text} {unit}, mean of {n}"),
            None => format!("{text} {unit}"),
        },
    }
}

/// The page after keeping: verdict, what moved, the next place.
pub(crate) fn kept(view: &View, entry: EntryId) -> Markup {
    let taken = view.state().readings.iter().find(|r| r.entry == entry);
    let check = taken.and_then(|r| view.knowledge().check(&r.check).map(|c| &c.value));
    let next = taken.zip(check).and_then(|(r, check)| next_of_round(view, check, &r.position, r.phase));
    let moment = match taken.map_or(Phase::AsFound, |r| r.phase) {
        Phase::AsFound => Moment::Test,
        Phase::Arrival => Moment::Order,
        Phase::AsLeft => Moment::Prove,
        Phase::Recheck => Moment::HandBack,
    };
    let place = view.job.entries.iter().position(|e| e.id() == entry);
    let rank = place.and_then(|n| view.job.ranks.get(n)).copied();
    let saved = view.bench.around().backed_up().zip(rank).map(|(entries, rank)| rank <= entries);
    let body = html! {
        section.sheet.kept-reading {
            @match taken {
                Some(r) => {
                    h2 {
                        b.value { (shown(r)) }
                        " "
                        (check.map_or_else(|| words(&r.check), |c| c.name.clone()))
                        span.place { ", " (view.place(&r.position)) }
                    }
                    p.where-kept {
                        "Kept in the shop"
                        @if let Some(saved) = saved {
                            @if saved { " and in the backup" } @else { ", not in the backup yet" }
                        }
                        ". "
                        a href=(view.link(&format!("entries/{entry}"))) { "Put it right" }
                    }
                }
                None => {
                    h2 { "This reading no longer counts" }
                    p { "It was taken back; it stays in the record." }
                }
            }
            // Above what moves: nothing slides under a thumb when the work-up is there.
            p.go {
                @if let (Some((reading, place)), Some(r)) = (&next, taken) {
                    a   .button
                        .big
                        href=({
                            view.link(
                                &format!(
                                    "enter?check={}&reading={reading}&position={}&phase={}",
                                    r.check,
                                    place.address(),
                                    phase_word(r.phase),
                                ),
                            )
                        })
                    {
                        "Next: "
                        (view.place(place))
                        @if *reading != r.reading { ", " (words(reading)) }
                    }
                }
                @if let Some(r) = taken {
                    a   .button
                        href=({
                            view.link(
                                &format!(
                                    "enter?check={}&reading={}&position={}&phase={}",
                                    r.check,
                                    r.reading,
                                    r.position.address(),
                                    phase_word(r.phase),
                                ),
                            )
                        })
                    { "Once more here" }
                }
                a.button href=(view.link(moment.word())) { "Back to " (super::tab(moment)) }
            }
            (panel_place(&moved(view, &entry.to_string())))
        }
        @if taken.is_some() {
            p { (view.take_back(&entry.to_string(), "Undo: take this reading back")) }
        }
    };
    view.page(moment, &body, Some((Panel::Moved, Some(&entry.to_string()))))
}

/// Verdict of a reading and what it moved.
pub(crate) fn moved(view: &View, entry: &str) -> Markup {
    let at_once = judged(view, entry);
    let finding = view.case.iter().flat_map(|c| &c.findings).find(|f| f.entry == entry).or(at_once.as_ref());
    let before =
        entry.parse().ok().and_then(|id| view.job.hash_before(id)).and_then(|h| view.bench.case_at(view.job.id, h));
    let after = view.case.as_ref().filter(|_| view.current);
    let line = |label: &str, was: Option<String>, is: Option<String>| {
        html! {
            tr {
                th scope="row" { (label) }
                @match (was, is) {
                    (Some(was), Some(is)) if was == is => td colspan="2" {
                        (is)
                        span.quiet { " (as before)" }
                    },
                    (Some(was), Some(is)) => {
                        td {
                            span.quiet { "was " }
                            (was)
                        }
                        td {
                            b { "now " }
                            (is)
                        }
                    }
                    (None, Some(is)) => td colspan="2" { (is) },
                    (Some(was), None) => {
                        td {
                            span.quiet { "was " }
                            (was)
                        }
                        td.quiet { "being worked" }
                    }
                    (None, None) => td.quiet colspan="2" { "being worked" },
                }
            }
        }
    };
    let option = |c: &workup::Case| {
        format!("{}, {} on average", view.option_name(&c.advice.best), view.money(c.advice.expected))
    };
    let next = |c: &workup::Case| match (c.advice.next.first(), &c.advice.stop) {
        (Some(n), _) => format!("{}, {} (worth {})", n.name, n.place, view.money(n.ahead())),
        (None, Some(stop)) => format!("STOP: {}", stop.words),
        (None, None) => "nothing".to_owned(),
    };
    html! {
        @if let Some(f) = finding {
            ul.findings { (super::test::finding(view, f)) }
            @if let Some(picture) = pictures::reading_between_limits(f) {
                figure.picture.whole { (PreEscaped(picture)) }
            }
        }
        @if let Some(why) = &view.trouble {
            p.quiet { (why) }
        } @else {
            table.moved {
                caption { "What it moved" }
                tbody {
                    ({
                        line(
                            "Best way",
                            before.as_deref().map(option),
                            after.map(|c| option(c)),
                        )
                    })
                    ({
                        line(
                            "Next check",
                            before.as_deref().map(next),
                            after.map(|c| next(c)),
                        )
                    })
                }
            }
        }
        @if let Some(case) = after {
            @for n in case.notices.iter().filter(|n| n.about.contains(entry)) {
                p.nextmove { (n.message) "; " (n.what_to_do) }
            }
        }
    }
}

/// The finding of a reading before the work-up is there: judging takes no network.
fn judged(view: &View, entry: &str) -> Option<workup::Finding> {
    if view.current {
        return None;
    }
    let layout = view.state().layout.as_ref()?;
    let told = workup::told(view.state(), view.knowledge());
    let net = workup::network::engine_net(layout, &told, view.knowledge());
    let (findings, _) = workup::findings::of_state(view.state(), layout, &net, view.knowledge());
    findings.into_iter().find(|f| f.entry == entry)
}
