//! What settles a reading that its gauge cannot tell: so many readings, a gauge of so small a doubt, or neither.
//!
//! Only the repeats line of a gauge's budget shrinks with the root of the number of readings; what all readings share
//! (setting, the gauge's own error, its step) stays. The figures come from [`quantity::decision`], solved from the same
//! rule that gave the verdict.

use quantity::decision::{gauge_that_settles, repeats_that_settle};
use quantity::measured::coverage_factor_with;
use quantity::print::printed;
use quantity::{Risks, Zone};

/// More readings than this nobody takes of one thing \[ours\].
const MOST_READINGS: u32 = 25;
/// How many gauges are named, the plainest first \[ours\].
const MOST_GAUGES: usize = 3;

/// The doubt of one reading, split into what repeats shrink and what they do not.
#[derive(Debug, Clone, PartialEq)]
pub struct Doubt {
    /// Standard uncertainty of one reading, in the reading's unit.
    pub u: f64,
    /// The part of it that all readings with this gauge share.
    pub shared: f64,
    /// The part that differs from reading to reading; nothing where the gauge has no budget.
    pub repeats: Option<f64>,
    /// The gauge, by its mark or its name.
    pub gauge: Option<String>,
    /// Whether the gauge was not told but taken from the knowledge.
    pub assumed: bool,
    /// How many readings the value is the mean of.
    pub taken: u32,
}

/// Chance at which few readings are compared with endless ones.
const SURE: f64 = 0.95;

impl Doubt {
    /// The same doubt in a unit of which so many make one of the unit it is in.
    #[must_use]
    pub fn times(&self, per: f64) -> Doubt {
        let repeats = self.repeats.map(|r| r * per);
        Doubt { u: self.u * per, shared: self.shared * per, repeats, ..self.clone() }
    }

    /// The doubt of the mean of several readings with one gauge: what each reading has for itself shrinks with the root of
    /// their number, what they share (setting, the gauge's own error, its step) stays.
    ///
    /// What a reading has for itself is the budget's, or the scatter seen where that is larger: two or three readings say too
    /// little to make a budget smaller. A gauge without a budget has the scatter alone, widened as few readings ask.
    ///
    /// # Source
    /// Mean and its standard deviation: JCGM 100:2008, 4.2.3; correlation of what one gauge gives to all: 5.2 \[published\];
    /// Student's t for few readings: G.3 \[published\]; the larger of budget and scatter \[ours\].
    #[must_use]
    pub fn of_mean(self, n: u32, scatter: Option<f64>) -> Doubt {
        let degrees = f64::from(n) - 1.0;
        let widened = |seen: f64| {
            let t = coverage_factor_with(SURE, degrees).ok()?;
            Some(seen * t / coverage_factor_with(SURE, f64::INFINITY).ok()?)
        };
        let each = match (self.repeats, scatter) {
            (Some(budget), seen) => Some(budget.max(seen.unwrap_or(0.0))),
            (None, Some(seen)) => widened(seen),
            (None, None) => None,
        };
        let u = each.map_or(self.u, |each| self.shared.hypot(each / f64::from(n.max(1)).sqrt()));
        Doubt { u, repeats: each, taken: n, ..self }
    }
}

/// A gauge that could take the reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate<'a> {
    /// Its name.
    pub name: &'a str,
    /// Its standard uncertainty in the reading's unit.
    pub u: f64,
    /// What a reader ought to know of it for this limit.
    pub note: &'a str,
}

/// A reading that cannot be told, with what it was judged by.
#[derive(Debug, Clone)]
pub struct Question<'a> {
    /// The value as judged: in the reading's unit, or its share of the best.
    pub value: f64,
    /// The edges, in the unit of `value`.
    pub zone: Zone,
    /// What one of `value` is in the reading's unit.
    pub scale: f64,
    /// The doubt.
    pub doubt: &'a Doubt,
    /// The reading's unit.
    pub unit: &'a str,
    /// Gauges that fit the reading, in any order.
    pub gauges: Vec<Candidate<'a>>,
}

impl Question<'_> {
    /// The next move in words.
    ///
    /// # Source
    /// [`gauge_that_settles`] and [`repeats_that_settle`], with the usual risks.
    #[must_use]
    pub fn next_move(&self) -> String {
        let widest = gauge_that_settles(self.value, &self.zone, Risks::default()).unwrap_or(0.0) * self.scale;
        if widest <= 0.0 {
            return "the value sits on the edge: no number of readings and no gauge settles it; decide by what else was found"
                .to_owned();
        }
        let (by_repeats, repeats) = self.by_repeats();
        let (by_gauge, gauges) = self.by_gauge(widest);
        let mut out = format!("{repeats}; {gauges}");
        if !by_repeats && !by_gauge {
            out.push_str("; so near the edge decide by what else was found");
        }
        out
    }

    /// Whether more readings settle it, and how many in words.
    fn by_repeats(&self) -> (bool, String) {
        let Some(repeatability) = self.doubt.repeats else {
            let words = "name the gauge it was read with, for only the step of the figure is known of its doubt";
            return (false, words.to_owned());
        };
        let (shared, repeatability) = (self.doubt.shared / self.scale, repeatability / self.scale);
        match repeats_that_settle(self.value, shared, repeatability, &self.zone, Risks::default()) {
            Ok(Some(n)) if n <= MOST_READINGS => {
                let more = n.saturating_sub(self.doubt.taken).max(1);
                let readings = if more == 1 { "reading" } else { "readings" };
                let words = format!(
                    "take {more} more {readings}, the gauge set and placed afresh between them: the mean of {} settles it if it stays where it is",
                    more + self.doubt.taken
                );
                (true, words)
            }
            Ok(Some(n)) => (false, format!("with this gauge it would take {n} readings")),
            Ok(None) | Err(_) => {
                let stays = printed(self.doubt.shared, 2);
                (
                    false,
                    format!(
                        "more readings with this gauge settle nothing, for u {stays} {} is in all of them",
                        self.unit
                    ),
                )
            }
        }
    }

    /// Whether a known gauge settles it, and what a gauge must be worth, in words.
    fn by_gauge(&self, widest: f64) -> (bool, String) {
        let mut good: Vec<&Candidate<'_>> = self.gauges.iter().filter(|g| g.u <= widest).collect();
        good.sort_by(|a, b| b.u.total_cmp(&a.u).then_with(|| a.name.cmp(b.name)));
        let named: Vec<String> = good
            .iter()
            .take(MOST_GAUGES)
            .map(|g| {
                let note = if g.note.is_empty() { String::new() } else { format!(", {}", g.note) };
                format!("{} (u {} {}{note})", g.name, printed(g.u, 2), self.unit)
            })
            .collect();
        let wanted = format!("a gauge of u {} {} or better settles it", rounded_down(widest), self.unit);
        if named.is_empty() {
            (false, format!("{wanted}, and no gauge known for this reading is that good"))
        } else {
            (true, format!("{wanted}: {}", named.join(" or ")))
        }
    }
}

/// Two significant digits, never more than the figure itself: a bound that is rounded up would promise too much.
fn rounded_down(x: f64) -> String {
    if !(x.is_finite() && x > 0.0) {
        return printed(x, 2);
    }
    let step = 10f64.powf(x.log10().floor() - 1.0);
    printed((x / step).floor() * step, 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn doubt(shared: f64, repeats: Option<f64>) -> Doubt {
        let u = shared.hypot(repeats.unwrap_or(0.0));
        Doubt { u, shared, repeats, gauge: None, assumed: false, taken: 1 }
    }

    /// By hand: 0.006 over the root of 4 is 0.003, with 0.002 shared sqrt(0.002^2 + 0.003^2) = 0.0036056, whatever less the
    /// readings scatter; a scatter of 0.010 gives 0.005 and 0.0053852. Without a budget three readings that scatter by 0.010
    /// have t 4.302653 (Student, 2 degrees, 95 %) over 1.959964: 0.0219527, over the root of 3 0.0126744, with 0.001 0.0127138.
    #[test]
    fn a_mean_shrinks_what_each_reading_has_for_itself_and_nothing_else() {
        for (before, n, scatter, u) in [
            (doubt(0.002, Some(0.006)), 4, Some(0.001), 0.003_605_55),
            (doubt(0.002, Some(0.006)), 4, None, 0.003_605_55),
            (doubt(0.002, Some(0.006)), 4, Some(0.010), 0.005_385_16),
            (doubt(0.001, None), 3, Some(0.010), 0.012_713_8),
            (doubt(0.001, None), 3, None, 0.001),
        ] {
            let shared = before.shared;
            let after = before.of_mean(n, scatter);
            assert!((after.u - u).abs() < 5e-8, "{after:?} {u}");
            assert!(after.u >= shared && after.taken == n);
        }
    }

    fn asked<'a>(value: f64, doubt: &'a Doubt, gauges: Vec<Candidate<'a>>) -> Result<Question<'a>, String> {
        let zone = Zone::at_most(0.10, None).map_err(|e| e.to_string())?;
        Ok(Question { value, zone, scale: 1.0, doubt, unit: "mm", gauges })
    }

    /// By hand: 0.094 under 0.100 needs u of 0.006 / 1.6449 = 0.003648 or less. With 0.002 shared that leaves
    /// sqrt(0.003648^2 - 0.002^2) = 0.003051 for the repeats: (0.006 / 0.003051)^2 = 3.87, so four readings.
    #[test]
    fn the_number_of_readings_and_the_gauge_are_those_worked_by_hand() -> Result<(), String> {
        let doubt = doubt(0.002, Some(0.006));
        let fine = Candidate { name: "fine gauge", u: 0.0036, note: "at 20 degrees" };
        let coarse = Candidate { name: "coarse gauge", u: 0.0037, note: "" };
        let said = asked(0.094, &doubt, vec![fine, coarse])?.next_move();
        assert!(said.starts_with("take 3 more readings"), "{said}");
        assert!(said.contains("the mean of 4"), "{said}");
        assert!(said.contains("a gauge of u 0.0036 mm or better settles it: fine gauge"), "{said}");
        assert!(said.contains("at 20 degrees") && !said.contains("coarse"), "{said}");
        Ok(())
    }

    /// By hand: 0.099 needs u of 0.001 / 1.6449 = 0.000608; 0.002 is in every reading.
    #[test]
    fn what_neither_settles_is_said_so() -> Result<(), String> {
        let doubt = doubt(0.002, Some(0.006));
        let only = Candidate { name: "only gauge", u: 0.0036, note: "" };
        let said = asked(0.099, &doubt, vec![only])?.next_move();
        assert!(said.contains("settle nothing, for u 0.002 mm is in all of them"), "{said}");
        assert!(said.contains("u 0.0006 mm or better") && said.contains("no gauge known"), "{said}");
        assert!(said.contains("near the edge"), "{said}");
        let on_it = asked(0.10, &doubt, Vec::new())?.next_move();
        assert!(on_it.contains("sits on the edge"), "{on_it}");
        Ok(())
    }

    #[test]
    fn without_a_budget_the_gauge_is_asked_for() -> Result<(), String> {
        let doubt = doubt(0.006, None);
        let said = asked(0.094, &doubt, Vec::new())?.next_move();
        assert!(said.starts_with("name the gauge"), "{said}");
        Ok(())
    }

    /// A share of the best: 9.0 of 12.0 bar is 0.75. By hand: 0.75 over 0.74 needs u of 0.01 / 1.6449 = 0.00608, times
    /// 12 bar 0.07295 bar.
    #[test]
    fn a_share_of_the_best_is_told_in_the_readings_unit() -> Result<(), String> {
        let doubt = doubt(0.05, Some(0.1));
        let zone = Zone::at_least(0.74, None).map_err(|e| e.to_string())?;
        let said =
            Question { value: 0.75, zone, scale: 12.0, doubt: &doubt, unit: "bar", gauges: Vec::new() }.next_move();
        // (0.1 / sqrt(0.07295^2 - 0.05^2))^2 = 3.54.
        assert!(said.contains("the mean of 4"), "{said}");
        assert!(said.contains("u 0.072 bar"), "{said}");
        Ok(())
    }
}
