//! Parts from order to need, and the one that sets the date (P11).

use super::drawing::{Anchor, Drawing, Pen, THICK, count, fitted, lines};

/// One ordered part; days as `2026-11-27`, what is no day is left out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct PartLine {
    /// The part.
    pub name: String,
    /// Ordered.
    pub ordered: String,
    /// Promised.
    pub promised: Option<String>,
    /// Needed by.
    pub need_by: Option<String>,
    /// Arrived.
    pub arrived: Option<String>,
    /// Whether this part sets the date.
    pub sets_the_date: bool,
}

const WIDTH: f64 = 640.0;
const LEFT: f64 = 226.0;
const RIGHT: f64 = 48.0;
const ROW: f64 = 30.0;
const TOP: f64 = 14.0;
/// Letters of a name.
const NAME: f64 = 12.5;

/// A line for each part: full to the day it arrived, chain-dotted to the day promised, a stroke where it is needed;
/// the part that sets the date has a double line.
#[must_use]
pub fn parts_line(parts: &[PartLine]) -> String {
    let said: Vec<String> = parts.iter().map(in_words).collect();
    let desc = if said.is_empty() { "Nothing is ordered.".to_owned() } else { format!("{}.", said.join("; ")) };
    let height = TOP + count(parts.len()) * ROW + 54.0;
    let mut d = Drawing::new(WIDTH, height, "Parts from order to arrival", &desc);
    let days = parts.iter().flat_map(|p| {
        [Some(&p.ordered), p.promised.as_ref(), p.need_by.as_ref(), p.arrived.as_ref()].into_iter().flatten()
    });
    let known: Vec<(f64, &String)> = days.filter_map(|day| Some((number(day)?, day))).collect();
    let first = known.iter().min_by(|a, b| a.0.total_cmp(&b.0));
    let last = known.iter().max_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(first), Some(last)) = (first, last) else { return d.finish() };
    let scale = (WIDTH - LEFT - RIGHT) / (last.0 - first.0).max(1.0);
    let x = |day: &str| number(day).map(|n| LEFT + (n - first.0) * scale);
    for (n, part) in parts.iter().enumerate() {
        row(&mut d, part, TOP + (count(n) + 0.5) * ROW, &x);
    }
    let y = TOP + count(parts.len()) * ROW + 6.0;
    d.line((LEFT, y), (WIDTH - RIGHT, y), &Pen::line(1.0));
    d.text((LEFT, y + 16.0), 12.0, Anchor::Middle, false, first.1);
    d.text((WIDTH - RIGHT, y + 16.0), 12.0, Anchor::Middle, false, last.1);
    let key = "full: arrived; chain: promised; stroke: needed by; double: sets the date";
    d.text((8.0, y + 38.0), 12.0, Anchor::Start, false, key);
    d.finish()
}

fn in_words(part: &PartLine) -> String {
    let mut out = format!("{}: ordered {}", part.name, part.ordered);
    for (word, day) in [("promised", &part.promised), ("needed by", &part.need_by), ("arrived", &part.arrived)] {
        if let Some(day) = day {
            out.push_str(&format!(", {word} {day}"));
        }
    }
    if part.sets_the_date {
        out.push_str(", sets the date");
    }
    out
}

/// The name before its line, on two lines where one is too short.
fn name(d: &mut Drawing, part: &PartLine, y: f64) {
    let room = LEFT - 18.0;
    let mut broken = lines(&part.name, NAME, room).into_iter();
    let (first, rest) = (broken.next().unwrap_or_default(), broken.collect::<Vec<_>>().join(" "));
    let rise = if rest.is_empty() { 4.0 } else { -2.5 };
    d.text((8.0, y + rise), NAME, Anchor::Start, part.sets_the_date, &first);
    if !rest.is_empty() {
        d.text((8.0, y + rise + NAME + 1.0), NAME, Anchor::Start, part.sets_the_date, &fitted(&rest, NAME, room));
    }
}

fn row(d: &mut Drawing, part: &PartLine, y: f64, x: &impl Fn(&str) -> Option<f64>) {
    name(d, part, y);
    let Some(start) = x(&part.ordered) else { return };
    d.circle((start, y), 3.5, &Pen::solid());
    let shifts: &[f64] = if part.sets_the_date { &[-2.5, 2.5] } else { &[0.0] };
    let arrived = part.arrived.as_deref().and_then(x);
    if let Some(end) = part.promised.as_deref().and_then(x) {
        let from = arrived.map_or(start, |a| a.max(start).min(end));
        for shift in shifts {
            d.line((from, y + shift), (end, y + shift), &Pen::chain(THICK));
        }
        d.polygon(&[(end, y - 5.0), (end + 5.0, y), (end, y + 5.0), (end - 5.0, y)], &Pen::outline(THICK));
    }
    if let Some(end) = arrived {
        for shift in shifts {
            d.line((start, y + shift), (end, y + shift), &Pen::line(THICK));
        }
        d.circle((end, y), 5.0, &Pen::solid());
    }
    if let Some(need) = part.need_by.as_deref().and_then(x) {
        d.line((need, y - 11.0), (need, y + 11.0), &Pen::line(THICK));
    }
}

/// The number of a day; nothing for a text that is none. Days of the Gregorian calendar, counted in years that begin
/// in March.
fn number(day: &str) -> Option<f64> {
    let mut parts = day.split('-');
    let mut next = || parts.next()?.parse::<i32>().ok();
    let (year, month, day) = (next()?, next()?, next()?);
    if !(0..=9999).contains(&year) || !(1..=12).contains(&month) || !(1..=31).contains(&day) {
        return None;
    }
    let year = if month < 3 { year - 1 } else { year };
    let month = (month + 9) % 12;
    Some(f64::from(
        365 * year + year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400) + (153 * month + 2) / 5 + day,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_follow_each_other_over_months_and_leap_years() {
        for (a, b, apart) in [
            ("2026-02-28", "2026-03-01", 1.0),
            ("2024-02-28", "2024-03-01", 2.0),
            ("2026-12-31", "2027-01-01", 1.0),
            ("2026-01-01", "2027-01-01", 365.0),
        ] {
            assert!((number(b).unwrap() - number(a).unwrap() - apart).abs() < 1e-9, "{a} {b}");
        }
        assert_eq!(number("soon"), None);
        assert_eq!(number("2026-13-01"), None);
    }
}
