//! Readings of one kind along the engine, judged together: the worst, the spread and the trend from the front.

use std::collections::BTreeMap;

use anatomy::{EngineLayout, Position, Scope};
use quantity::Verdict;
use quantity::measured::coverage_factor_with;
use serde::Serialize;

use crate::findings::{Finding, Spoken};
use crate::words::words;

/// Fewer places than this are no series.
const FEWEST: usize = 3;

/// Chance with which a trend has to stand clear of nothing before it is called one \[common practice\].
const SURE: f64 = 0.95;

/// One reading of one check at three or more places.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// The check.
    pub check: String,
    /// The check in words.
    pub check_name: String,
    /// Which reading of the check.
    pub reading: String,
    /// The unit of all figures here.
    pub unit: String,
    /// Whether it was read after the repair.
    pub after_repair: bool,
    /// How many places.
    pub n: usize,
    /// The places, the worst first.
    pub places: Vec<Position>,
    /// The worst verdict among them.
    pub verdict: Verdict,
    /// Where the worst was read, in the names this engine uses.
    pub worst_place: String,
    /// The worst value.
    pub worst: f64,
    /// The entry of the worst.
    pub worst_entry: String,
    /// Largest less smallest.
    pub spread: f64,
    /// The change per place from the front to the back; nothing where the places have no order.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trend: Option<Trend>,
    /// All of it in a sentence.
    pub words: String,
    /// The same for who does not measure: the worst, the spread, and a trend only where one stands out.
    pub plain: String,
}

impl Series {
    /// The name of what was read along the engine; see [`named`].
    #[must_use]
    pub fn name(&self) -> String {
        named(&self.check_name, &self.reading)
    }

    /// Whether a finding is one of this series.
    #[must_use]
    pub fn holds(&self, finding: &Finding) -> bool {
        (&self.check, &self.reading, self.after_repair) == (&finding.check, &finding.reading, finding.after_repair)
            && self.places.contains(&finding.position)
    }
}

/// A least-squares slope.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trend {
    /// Change per place from the front, in the series' unit.
    pub per_place: f64,
    /// Its standard uncertainty: from the scatter about the line, or from the doubt of the readings where that is larger.
    pub u: f64,
    /// Whether it stands clear of nothing, 19 times in 20.
    pub clear: bool,
}

/// Value, its doubt and its place from the front.
type Point = (f64, f64, f64);

/// The series of a job's findings, those with the worst verdict first; what is to be measured again is left out.
#[must_use]
pub fn of_findings(findings: &[Finding], layout: &EngineLayout) -> Vec<Series> {
    type Key<'a> = (&'a str, &'a str, bool, Scope);
    type Spots<'a> = BTreeMap<Option<&'a str>, &'a Finding>;
    let mut groups: BTreeMap<Key<'_>, BTreeMap<Position, Spots<'_>>> = BTreeMap::new();
    for f in findings.iter().filter(|f| f.value.is_some() && !f.measure_again && !f.whole_face) {
        let key = (f.check.as_str(), f.reading.as_str(), f.after_repair, f.position.scope());
        // A later reading of the same spot takes the place of the earlier one.
        groups.entry(key).or_default().entry(f.position).or_default().insert(f.spot.as_deref(), f);
    }
    let mut all: Vec<Series> = groups
        .into_values()
        .filter_map(|places| {
            let worst: Vec<&Finding> =
                places.into_values().filter_map(|spots| spots.into_values().reduce(worse)).collect();
            series(&worst, layout)
        })
        .collect();
    all.sort_by_key(|s| severity(s.verdict));
    all
}

/// The name of what was read: the check, and which reading of it where the check's name does not say that already.
///
/// # Example
/// ```
/// assert_eq!(workup::series::named("Cranking compression, dry", "pressure"), "Cranking compression, dry (pressure)");
/// assert_eq!(workup::series::named("Oil pressure at hot idle", "pressure"), "Oil pressure at hot idle");
/// assert_eq!(workup::series::named("Spark plug by eye", "result"), "Spark plug by eye");
/// ```
#[must_use]
pub fn named(check_name: &str, reading: &str) -> String {
    let reading_in_words = words(reading);
    // A check with one reading calls it `result`, which nobody says.
    if reading == "result" || check_name.to_lowercase().contains(&reading_in_words) {
        check_name.to_owned()
    } else {
        format!("{check_name} ({reading_in_words})")
    }
}

/// The rank of a verdict among others: what asks for something comes first.
#[must_use]
pub const fn severity(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::Outside => 0,
        Verdict::CannotTell => 1,
        Verdict::ByJudgement => 2,
        Verdict::Inside => 3,
    }
}

/// The worse of two findings of one kind; the first where they are the same.
fn worse<'a>(a: &'a Finding, b: &'a Finding) -> &'a Finding {
    let (there, here) = (a.value.unwrap_or(f64::NAN), b.value.unwrap_or(f64::NAN));
    let outdone = if a.lower_is_worse { here < there } else { here > there };
    if outdone { b } else { a }
}

fn series(places: &[&Finding], layout: &EngineLayout) -> Option<Series> {
    if places.len() < FEWEST {
        return None;
    }
    let worst = places.iter().copied().reduce(worse)?;
    let mut ranked = places.to_vec();
    ranked.sort_by(|a, b| {
        let (a_value, b_value) = (a.value.unwrap_or(f64::NAN), b.value.unwrap_or(f64::NAN));
        if a.lower_is_worse { a_value.total_cmp(&b_value) } else { b_value.total_cmp(&a_value) }
    });
    let verdict = places.iter().map(|f| f.verdict).min_by_key(|v| severity(*v))?;
    let values: Vec<f64> = places.iter().filter_map(|f| f.value).collect();
    let largest = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let smallest = values.iter().copied().fold(f64::INFINITY, f64::min);
    let points: Option<Vec<Point>> =
        places.iter().map(|f| Some((from_front(&f.position, layout)?, f.value?, f.u.unwrap_or(0.0)))).collect();
    let mut out = Series {
        check: worst.check.clone(),
        check_name: worst.check_name.clone(),
        reading: worst.reading.clone(),
        unit: worst.unit.clone().unwrap_or_default(),
        after_repair: worst.after_repair,
        n: places.len(),
        places: ranked.iter().map(|f| f.position).collect(),
        verdict,
        worst_place: worst.place.clone(),
        worst: worst.value?,
        worst_entry: worst.entry.clone(),
        spread: largest - smallest,
        trend: points.and_then(|p| trend(&p)),
        words: String::new(),
        plain: String::new(),
    };
    let spoken = worst.spoken();
    out.words = in_words(&out, &spoken);
    out.plain = plainly(&out, &spoken);
    Some(out)
}

/// Which place from the front of its bank a position is, on a scale that rises to the back; nothing where it has none.
fn from_front(position: &Position, layout: &EngineLayout) -> Option<f64> {
    let in_bank = |cylinder: u8| {
        let bank = layout.bank_of_cylinder(cylinder)?;
        let first = *layout.cylinders_of(bank).first()?;
        Some(f64::from(cylinder.checked_sub(first)?))
    };
    let counted = match position {
        Position::Cylinder(c) | Position::RodBearing(c) => in_bank(*c)?,
        Position::Pair(c) => in_bank(*c)? + 0.5,
        Position::ValveIntake { cylinder, .. } | Position::ValveExhaust { cylinder, .. } => in_bank(*cylinder)?,
        Position::MainBearing(n) => f64::from(*n),
        Position::Engine | Position::Bank(_) | Position::Cam(_) => return None,
    };
    // Places count from the end the cylinders are counted from, which need not be the front.
    Some(if layout.numbering().first_end() == layout.front() { counted } else { -counted })
}

/// The least-squares slope of values over places.
///
/// # Source
/// Slope and its standard deviation: NIST/SEMATECH e-Handbook of Statistical Methods, section on the least-squares line
/// \[from memory for the place\]; the doubt of the readings carried through the slope: JCGM 100:2008, 5.1.2 \[published\].
fn trend(points: &[Point]) -> Option<Trend> {
    let n = f64::from(u32::try_from(points.len()).ok()?);
    let degrees = n - 2.0;
    if degrees < 1.0 {
        return None;
    }
    let mean_x = points.iter().map(|p| p.0).sum::<f64>() / n;
    let mean_y = points.iter().map(|p| p.1).sum::<f64>() / n;
    let sxx: f64 = points.iter().map(|p| (p.0 - mean_x).powi(2)).sum();
    if sxx <= 0.0 {
        return None;
    }
    let slope = points.iter().map(|p| (p.0 - mean_x) * (p.1 - mean_y)).sum::<f64>() / sxx;
    let left: f64 = points.iter().map(|p| (p.1 - mean_y - slope * (p.0 - mean_x)).powi(2)).sum();
    let scatter = (left / degrees / sxx).sqrt();
    let carried = points.iter().map(|p| ((p.0 - mean_x) / sxx * p.2).powi(2)).sum::<f64>().sqrt();
    let t = coverage_factor_with(SURE, degrees).ok()?;
    let z = coverage_factor_with(SURE, f64::INFINITY).ok()?;
    let clear = slope.abs() > t * scatter && slope.abs() > z * carried;
    Some(Trend { per_place: slope, u: scatter.max(carried), clear })
}

fn in_words(series: &Series, spoken: &Spoken) -> String {
    let trend = match series.trend {
        None => String::new(),
        Some(Trend { per_place, u, clear: true }) => format!(
            "; it {} by {} per place from the front (u {})",
            if per_place > 0.0 { "rises" } else { "falls" },
            spoken.say(per_place.abs(), 2),
            spoken.say(u, 2)
        ),
        Some(Trend { per_place, u, clear: false }) => format!(
            "; no trend along the engine stands out ({} per place from the front, u {})",
            spoken.say(per_place, 2),
            spoken.say(u, 2)
        ),
    };
    format!(
        "{} places: the worst is {} with {}, spread {}{trend}",
        series.n,
        series.worst_place,
        spoken.say(series.worst, 4),
        spoken.say(series.spread, 3)
    )
}

fn plainly(series: &Series, spoken: &Spoken) -> String {
    let trend = match series.trend {
        Some(Trend { per_place, clear: true, .. }) if per_place > 0.0 => "; they rise from the front to the back",
        Some(Trend { clear: true, .. }) => "; they fall from the front to the back",
        _ => "",
    };
    format!(
        "of {} places {} is the worst with {}, and they differ by up to {}{trend}",
        series.n,
        series.worst_place,
        spoken.say(series.worst, 4),
        spoken.say(series.spread, 3),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 0.02, 0.03, 0.05, 0.06 over 1 to 4. Mean 0.04, Sxx 5, Sxy 0.07, slope 0.014; left over 0.001, -0.003,
    /// 0.003, -0.001, squares 2e-5, s^2 1e-5, doubt sqrt(1e-5 / 5) = 0.0014142; t for 2 degrees 4.303, and 0.014 is 9.9 times.
    #[test]
    fn the_slope_and_its_doubt_are_those_worked_by_hand() -> Result<(), String> {
        let points = [(1.0, 0.02, 0.001), (2.0, 0.03, 0.001), (3.0, 0.05, 0.001), (4.0, 0.06, 0.001)];
        let found = trend(&points).ok_or("no trend")?;
        assert!((found.per_place - 0.014).abs() < 1e-12, "{found:?}");
        assert!((found.u - 0.001_414_213_562_373).abs() < 1e-12, "{found:?}");
        assert!(found.clear, "{found:?}");
        Ok(())
    }

    /// By hand: on a perfect line only the readings' own doubt is left, 0.01 / sqrt(2) = 0.00707; a slope of 0.01 is 1.41 of it.
    #[test]
    fn a_perfect_line_keeps_the_doubt_of_its_readings() -> Result<(), String> {
        let found = trend(&[(1.0, 0.0, 0.01), (2.0, 0.01, 0.01), (3.0, 0.02, 0.01)]).ok_or("no trend")?;
        assert!((found.per_place - 0.01).abs() < 1e-12 && (found.u - 0.007_071_067_811_865).abs() < 1e-12, "{found:?}");
        assert!(!found.clear, "{found:?}");
        Ok(())
    }

    #[test]
    fn two_points_and_one_place_have_no_trend() {
        assert_eq!(trend(&[(1.0, 0.0, 0.01), (2.0, 0.01, 0.01)]), None);
        assert_eq!(trend(&[(1.0, 0.0, 0.01), (1.0, 0.01, 0.01), (1.0, 0.02, 0.01)]), None);
    }
}
