//! Words of the screens; those that every door needs are in [`workup::words`].

use logbook::JobState;
use workup::OptionLine;

pub(crate) use workup::words::{amount, count, grouped, of_engines, sentence, title, within, words};

/// Names as they stand behind one another within a sentence.
pub(crate) fn inside(names: &[String]) -> String {
    names.iter().map(|name| within(name)).collect::<Vec<_>>().join("; ")
}

/// Labour units as money where the rate is told.
pub(crate) fn money(state: &JobState, units: f64) -> String {
    let rate = state.rates.labour_rate.as_ref();
    match rate.map(|m| (m.currency().code(), m.to_f64())) {
        Some((code, rate)) if (units * rate).abs() < 10.0 => format!("{code}\u{a0}{:.2}", units * rate),
        Some((code, rate)) => format!("{code}\u{a0}{}", grouped(units * rate)),
        None => format!("{units:.2} labour units"),
    }
}

/// The price of an option as an interval.
pub(crate) fn price(option: &OptionLine) -> String {
    let [low, high] = option.price;
    match &option.money {
        Some(m) => {
            let [low, high] = m.price;
            let (low, high) = (grouped(low), grouped(high));
            if low == high {
                format!("{}\u{a0}{low}", m.currency)
            } else {
                format!("{}\u{a0}{low} to {high}", m.currency)
            }
        }
        None => format!("{low:.1} to {high:.1} labour units"),
    }
}

/// What an option costs on average to the horizon.
pub(crate) fn expected(option: &OptionLine) -> String {
    match &option.money {
        Some(m) => format!("{}\u{a0}{}", m.currency, grouped(m.expected)),
        None => format!("{:.1} labour units", option.expected),
    }
}

/// Days as an interval.
pub(crate) fn days([low, high]: [f64; 2]) -> String {
    if low >= high { format!("{high:.0} days") } else { format!("{low:.0} to {high:.0} days") }
}

/// A time as day and minute, here.
pub(crate) fn when(at: jiff::Timestamp) -> String {
    crate::surroundings::minute_of(at)
}
