//! Histories on random columns: however they are cut, they give one answer, and a wrong row is named.

#![expect(clippy::unwrap_used, reason = "the helpers of a test may fail it")]

use inference::life::{Belief, History, LifeError, LifePosterior, LifePrior, Nodes, Record, Watch};
use proptest::prelude::*;

/// Rows of age at exit, whether failed, and age at entry, over four powers of ten.
fn rows() -> impl Strategy<Value = Vec<(f64, bool, f64)>> {
    let row = (1.0..5.0_f64, any::<bool>(), 0.0..1.3_f64).prop_map(|(ln, failed, part)| {
        let age = 10.0_f64.powf(ln);
        (age, failed, if part < 0.98 { (part * age).floor() } else { 0.0 })
    });
    prop::collection::vec(row, 2..400)
}

fn history(rows: &[(f64, bool, f64)]) -> Result<History, LifeError> {
    let at: Vec<f64> = rows.iter().map(|row| row.0).collect();
    let failed: Vec<bool> = rows.iter().map(|row| row.1).collect();
    History::of_columns(&at, &failed, &rows.iter().map(|row| row.2).collect::<Vec<_>>())
}

fn prior() -> LifePrior {
    LifePrior::on_scale(Belief { mean: 0.7, spread: 0.4 }, Belief { mean: 7.0, spread: 1.5 }).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_history_cut_anywhere_and_merged_gives_the_same_evidence(rows in rows(), cut in any::<prop::sample::Index>()) {
        let (left, right) = rows.split_at(cut.index(rows.len()));
        let whole = history(&rows).unwrap();
        let mut merged = history(right).unwrap();
        merged.merge(&history(left).unwrap());
        prop_assert_eq!(whole.records(), merged.records());
        prop_assert_eq!(whole.failures(), merged.failures());
        let record = |(at, failed, from): &(f64, bool, f64)| {
            let watched = if *from > 0.0 { Watch::Since(*from) } else { Watch::FromNew };
            if *failed { Record::failed(*at, watched) } else { Record::still_good(*at, watched) }
        };
        let single = History::of(&rows.iter().map(record).collect::<Vec<_>>()).unwrap();
        let answer = |history: &History| LifePosterior::on(Nodes::Hermite(7), &prior(), history).unwrap();
        let (a, b, c) = (answer(&whole), answer(&merged), answer(&single));
        let scale = a.ln_evidence().abs().max(1.0);
        prop_assert!((a.ln_evidence() - b.ln_evidence()).abs() < 1e-10 * scale);
        prop_assert!((a.ln_evidence() - c.ln_evidence()).abs() < 1e-10 * scale);
        let survival = a.survival(900.0, 400.0).unwrap();
        prop_assert!((0.0..=1.0).contains(&survival));
    }

    #[test]
    fn the_first_wrong_row_is_named(rows in rows(), place in any::<prop::sample::Index>(), age in prop::sample::select(vec![0.0, -3.0, f64::NAN, f64::INFINITY])) {
        let mut rows = rows;
        let row = place.index(rows.len());
        let wrong = rows.iter_mut().skip(row);
        wrong.for_each(|row| row.0 = age);
        let named = matches!(history(&rows), Err(LifeError::Ages { record, .. }) if record == row);
        prop_assert!(named, "{row}");
    }

    #[test]
    fn a_fit_is_a_top_of_its_likelihood(rows in rows()) {
        let history = history(&rows).unwrap();
        if let Ok(fit) = history.fit() {
            // Written out row by row, which the sums are not.
            let value = |shape: f64, scale: f64| -> f64 {
                rows.iter().map(|(at, failed, from)| {
                    let hazard = |t: f64| (t / scale).powf(shape);
                    let ends = if *failed { (shape / scale).ln() + (shape - 1.0) * (at / scale).ln() } else { 0.0 };
                    ends - hazard(*at) + hazard(*from)
                }).sum()
            };
            let (shape, scale) = (fit.law.shape(), fit.law.scale());
            let top = value(shape, scale);
            prop_assert!((top - fit.ln_likelihood).abs() < 1e-9 * top.abs().max(1.0), "{} {}", top, fit.ln_likelihood);
            for (a, b) in [(1.003, 1.0), (0.997, 1.0), (1.0, 1.003), (1.0, 0.997), (1.002, 1.002), (1.002, 0.998)] {
                prop_assert!(value(shape * a, scale * b) <= top + 1e-9 * top.abs());
            }
        }
    }
}
