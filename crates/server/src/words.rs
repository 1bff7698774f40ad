//! Chances, money and ids in words, the same on every screen.

use logbook::JobState;
use workup::OptionLine;

/// A chance as a share of engines like this one.
#[must_use]
pub fn of_engines(p: f64) -> String {
    let of = |n: f64, of: &str| format!("{n:.0} of {of}");
    match p {
        p if p >= 0.9995 => "nearly all".to_owned(),
        p if p >= 0.995 => of(p * 1000.0, "1000"),
        p if p > 0.905 => of(p * 100.0, "100"),
        p if p >= 0.095 => of(p * 10.0, "10"),
        p if p >= 0.0095 => of(p * 100.0, "100"),
        p if p >= 0.00095 => of(p * 1000.0, "1000"),
        _ => "under 1 of 1000".to_owned(),
    }
}

/// A whole number with groups of three.
pub(crate) fn grouped(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place) % 3 == 0 {
            out.push('\u{202f}');
        }
        out.push(digit);
    }
    if value < -0.5 { format!("-{out}") } else { out }
}

/// A kebab-case word as people write it.
#[must_use]
pub fn words(id: &str) -> String {
    id.replace(['-', '_'], " ")
}

/// The same with a capital in front.
pub(crate) fn title(id: &str) -> String {
    sentence(&words(id))
}

/// A sentence with a capital in front.
pub(crate) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
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

/// An amount of money.
pub(crate) fn amount(money: &quantity::Money) -> String {
    format!("{}\u{a0}{}", money.currency().code(), money.amount())
}

/// A time as day and minute.
pub(crate) fn when(at: jiff::Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M").to_string()
}

/// One or many, in words.
pub(crate) fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}
