//! Chances, choices, money and ids in words: the same at every door.

use quantity::Money;

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

/// Of ten engines like this one, how many a chance stands for.
#[must_use]
pub fn of_ten(p: f64) -> u8 {
    let share = if p.is_finite() { p.clamp(0.0, 1.0) } else { 0.0 };
    (0..10u8).filter(|k| share * 10.0 >= f64::from(*k) + 0.5).count().try_into().unwrap_or(10)
}

/// A chance as customers read it, such as `about 9 of 10 engines like this`; never a certainty.
#[must_use]
pub fn of_ten_in_words(p: f64) -> String {
    match of_ten(p) {
        0 => "fewer than 1 of 10 engines like this".to_owned(),
        10 => "nearly all engines like this".to_owned(),
        n => format!("about {n} of 10 engines like this"),
    }
}

/// A whole number in groups of three, set apart as in an amount of money.
#[must_use]
pub fn grouped(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut out = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place) % 3 == 0 {
            out.push(',');
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

/// A sentence with a capital in front.
#[must_use]
pub fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A name as it stands within a sentence: the first letter small, unless the word is written in capitals.
#[must_use]
pub fn within(name: &str) -> String {
    let mut letters = name.chars();
    match (letters.next(), letters.clone().next()) {
        (Some(first), Some(second)) if !second.is_uppercase() && second != '-' => {
            first.to_lowercase().chain(letters).collect()
        }
        _ => name.to_owned(),
    }
}

/// The same as [`words`], with a capital in front.
#[must_use]
pub fn title(id: &str) -> String {
    sentence(&words(id))
}

/// An amount of money in one piece, its whole part in groups of three as those of [`grouped`].
#[must_use]
pub fn amount(money: &Money) -> String {
    let digits = money.amount().to_string();
    let (whole, rest) = digits.split_once('.').map_or((digits.as_str(), String::new()), |(w, r)| (w, format!(".{r}")));
    let (sign, whole) = whole.strip_prefix('-').map_or(("", whole), |whole| ("-", whole));
    let mut groups = String::new();
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (whole.len() - place).is_multiple_of(3) {
            groups.push(',');
        }
        groups.push(digit);
    }
    format!("{}\u{a0}{sign}{groups}{rest}", money.currency().code())
}

/// One or many, in words.
#[must_use]
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// The day of a moment, as entries are stamped: by universal time.
pub(crate) fn day_of(at: jiff::Timestamp) -> jiff::civil::Date {
    jiff::tz::TimeZone::UTC.to_datetime(at).date()
}

/// Names one after the other, the last of several after "and"; of more than a few the rest are counted.
///
/// # Shapes
/// at most `most` names are written out
#[must_use]
pub fn first_of(names: &[String], most: usize) -> String {
    let shown = names.get(..most.min(names.len())).unwrap_or_default();
    match (names.len() - shown.len(), shown) {
        (0, [all @ .., before, last]) => {
            let all: String = all.iter().map(|n| format!("{n}, ")).collect();
            format!("{all}{before} and {last}")
        }
        (0, few) => few.concat(),
        (more, few) => format!("{} and {more} more", few.join(", ")),
    }
}

/// A chance in per cent, never rounded to certainty.
#[must_use]
pub fn per_cent(p: f64) -> String {
    match p * 100.0 {
        c if c > 99.95 => "over 99.9\u{a0}%".to_owned(),
        c if c >= 99.5 || (0.05..0.95).contains(&c) => format!("{c:.1}\u{a0}%"),
        c if c < 0.05 => "under 0.1\u{a0}%".to_owned(),
        c => format!("{c:.0}\u{a0}%"),
    }
}

#[cfg(test)]
mod tests {
    use super::{first_of, within};

    #[test]
    fn of_many_names_the_first_are_written_and_the_rest_counted() {
        let names: Vec<String> = ["a", "b", "c"].map(str::to_owned).to_vec();
        assert_eq!(first_of(&names[..0], 2), "");
        assert_eq!(first_of(&names[..1], 2), "a");
        assert_eq!(first_of(&names[..2], 2), "a and b");
        assert_eq!(first_of(&names, 2), "a, b and 1 more");
        assert_eq!(first_of(&names, 3), "a, b and c");
    }

    #[test]
    fn a_name_within_a_sentence_begins_small_unless_it_is_written_in_capitals() {
        assert_eq!(within("Used engine, mileage unproven"), "used engine, mileage unproven");
        assert_eq!(within("EGR gasket"), "EGR gasket");
        assert_eq!(within("O-ring of the pick-up"), "O-ring of the pick-up");
        assert_eq!((within("A"), within("")), ("A".to_owned(), String::new()));
    }
}
