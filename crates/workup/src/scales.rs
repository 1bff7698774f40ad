//! Readings that lie past the end of the scale of the gauge they name.

use knowledge::{Gauge, Knowledge};
use logbook::bodies::number_in;
use logbook::{JobState, ReadingTaken, ReadingValue};

use crate::notice::Notice;

/// A notice for each reading that its gauge cannot have shown, with the gauges of the check that read that far.
///
/// A reading that names no gauge, or a gauge without a stated end, is left alone; so is one whose words or unit do not
/// read, which others complain of.
#[must_use]
pub fn past_the_end(state: &JobState, knowledge: &Knowledge) -> Vec<Notice> {
    state.readings.iter().filter_map(|taken| one(state, knowledge, taken)).collect()
}

fn one(state: &JobState, knowledge: &Knowledge, taken: &ReadingTaken) -> Option<Notice> {
    let laid = taken.label.as_ref().and_then(|label| state.gauges.get(label)).map(|g| g.body.gauge.as_str());
    let gauge = knowledge.gauge(laid.or(taken.gauge.as_deref())?)?;
    let ReadingValue::Number { text, unit } = &taken.value else { return None };
    if reads_as_far(gauge, text, unit)? {
        return None;
    }
    let check = knowledge.check(&taken.check)?;
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
        &taken.entry.to_string(),
        format!("{text} {unit} is past the end of the scale of {}, which reads to {end} {}", gauge.name, gauge.unit),
        &next,
    ))
}

/// Whether a gauge can show a figure; nothing where it has no stated end or the figure does not read in its unit.
fn reads_as_far(gauge: &Gauge, text: &str, unit: &str) -> Option<bool> {
    let end = gauge.reads_to?;
    Some(number_in(text, unit, &gauge.unit)? <= end)
}
