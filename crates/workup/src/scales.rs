//! Readings that lie past the end of the scale of the gauge they name.

use knowledge::{Gauge, Knowledge};
use logbook::bodies::number_in;
use logbook::{JobState, ReadingBody, ReadingTaken, ReadingValue};

use crate::notice::Notice;

/// A notice for each reading that its gauge cannot have shown, with the gauges of the check that read that far.
///
/// A reading that names no gauge, or a gauge without a stated end, is left alone; so is one whose words or unit do not
/// read, which others complain of.
#[must_use]
pub fn past_the_end(state: &JobState, knowledge: &Knowledge) -> Vec<Notice> {
    state.readings.iter().filter_map(|taken| one(state, knowledge, taken)).collect()
}

/// A notice for a reading that is not kept yet, where one of its figures is past the end of the scale of its gauge.
#[must_use]
pub fn past_the_end_of(state: &JobState, knowledge: &Knowledge, body: &ReadingBody) -> Option<Notice> {
    let (gauge, label) = (body.gauge.as_deref(), body.label.as_deref());
    let mut figures = body.value.iter().chain(&body.repeats);
    figures.find_map(|f| figure(state, knowledge, &body.check, (gauge, label), (&f.text, &f.unit), ""))
}

fn one(state: &JobState, knowledge: &Knowledge, taken: &ReadingTaken) -> Option<Notice> {
    let ReadingValue::Number { text, unit } = &taken.value else { return None };
    let gauge = (taken.gauge.as_deref(), taken.label.as_deref());
    figure(state, knowledge, &taken.check, gauge, (text, unit), &taken.entry.to_string())
}

fn figure(
    state: &JobState,
    knowledge: &Knowledge,
    check: &str,
    (gauge, label): (Option<&str>, Option<&str>),
    (text, unit): (&str, &str),
    entry: &str,
) -> Option<Notice> {
    let laid = label.and_then(|label| state.gauges.get(label)).map(|g| g.body.gauge.as_str());
    let gauge = knowledge.gauge(laid.or(gauge)?)?;
    if reads_as_far(gauge, text, unit)? {
        return None;
    }
    let check = knowledge.check(check)?;
    let others = check.gauges.iter().filter_map(|id| knowledge.gauge(id));
    let far_enough: Vec<&str> =
        others.filter(|g| reads_as_far(g, text, unit) == Some(true)).map(|g| g.name.as_str()).collect();
    let end = gauge.reads_to?;
    let next = if far_enough.is_empty() {
        "correct the figure or the gauge".to_owned()
    } else {
        format!("correct the figure, or name the gauge it was read with: {}", far_enough.join(" or "))
    };
    Some(Notice::new(
        "past-the-scale",
        entry,
        format!("{text} {unit} is past the end of the scale of {}, which reads to {end} {}", gauge.name, gauge.unit),
        &next,
    ))
}

/// Whether a gauge can show a figure; nothing where it has no stated end or the figure does not read in its unit.
fn reads_as_far(gauge: &Gauge, text: &str, unit: &str) -> Option<bool> {
    let end = gauge.reads_to?;
    Some(number_in(text, unit, &gauge.unit)? <= end)
}
