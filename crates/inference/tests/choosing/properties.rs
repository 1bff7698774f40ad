//! What must hold whatever the figures are, and what is refused.

use inference::compare::{AgeBelief, Choice, CompareError, Doubtful, Law, Way, means, spread};
use proptest::prelude::*;

use crate::features::small;

const DRAWS: usize = 2048;

/// The small example with other figures.
fn varied() -> impl Strategy<Value = Choice> {
    let factor = || 0.3..3.0_f64;
    (factor(), factor(), factor(), 0.0..0.1_f64, any::<bool>(), 1.0..8.0_f64).prop_map(
        |(lives, prices, travel, interest, treated, years)| {
            let mut choice = small();
            choice.modes.iter_mut().for_each(|mode| mode.life.ln_life.mean += lives.ln());
            choice.prices.iter_mut().for_each(|price| price.amount = price.amount.times(prices));
            choice.yearly.middle *= travel;
            (choice.interest, choice.years) = (interest, years);
            if !treated {
                choice.treatment = None;
            }
            choice
        },
    )
}

fn costs(choice: &Choice) -> Vec<f64> {
    means(choice).unwrap().ways.iter().map(|way| way.cost).collect()
}

fn scaled(mut choice: Choice, factor: f64) -> Choice {
    choice.prices.iter_mut().chain(&mut choice.standing).for_each(|price| price.amount = price.amount.times(factor));
    for mode in &mut choice.modes {
        let [labour, parts, tow, days] = mode.takes;
        mode.takes = [labour.times(factor), parts.times(factor), tow.times(factor), days];
    }
    for way in &mut choice.ways {
        way.left = way.left.times(factor);
        way.surprises.iter_mut().for_each(|surprise| surprise.amount = surprise.amount.times(factor));
    }
    choice
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_worthless_way_changes_nothing(choice in varied()) {
        let mut more = choice.clone();
        more.prices[2].amount = Law::Known(0.0);
        let worthless = Way { name: "worthless".to_owned(), buys: vec![(0, 1.0), (1, 1000.0)], ..more.ways[2].clone() };
        more.ways.push(worthless);
        let (before, after) = (spread(&choice, DRAWS, 1).unwrap(), spread(&more, DRAWS, 1).unwrap());
        prop_assert_eq!(&before.ways[..], &after.ways[..3]);
        prop_assert!(after.ways[3].cheapest <= 0.0);
        for (a, b) in costs(&choice).into_iter().zip(costs(&more)) {
            prop_assert!((a - b).abs() < 1e-9 * a.abs().max(1.0), "{} {}", a, b);
        }
    }

    #[test]
    fn a_dearer_quote_never_helps(choice in varied(), which in 0..2_usize, dearer in 1.0..3.0_f64) {
        let mut other = choice.clone();
        other.prices[which].amount = choice.prices[which].amount.times(dearer);
        for (way, (a, b)) in costs(&choice).into_iter().zip(costs(&other)).enumerate() {
            prop_assert!(b >= a - 1e-9 * a.abs(), "{} {}", a, b);
            prop_assert!(way == which || (b - a).abs() < 1e-9 * a.abs().max(1.0));
        }
        let (before, after) = (spread(&choice, DRAWS, 2).unwrap(), spread(&other, DRAWS, 2).unwrap());
        prop_assert!(after.ways[which].cheapest <= before.ways[which].cheapest);
        prop_assert!(after.ways[which].regret >= before.ways[which].regret - 1e-3);
    }

    #[test]
    fn a_longer_warranty_from_others_never_hurts(choice in varied(), way in 0..2_usize, miles in 0.0..60e3_f64, years in 0.0..6.0_f64) {
        let mut other = choice.clone();
        other.ways[way].covers[0].until_travel += miles;
        other.ways[way].covers[0].until_years += years;
        for (a, b) in costs(&choice).into_iter().zip(costs(&other)) {
            prop_assert!(b <= a + 1e-6 * a.abs(), "{} {}", a, b);
        }
        let (before, after) = (spread(&choice, DRAWS, 3).unwrap(), spread(&other, DRAWS, 3).unwrap());
        prop_assert!(after.ways[way].mean <= before.ways[way].mean);
        prop_assert!(after.ways[way].cheapest >= before.ways[way].cheapest);
    }

    #[test]
    fn scaling_all_prices_scales_the_costs(choice in varied(), factor in 0.1..20.0_f64) {
        let other = scaled(choice.clone(), factor);
        for (a, b) in costs(&choice).into_iter().zip(costs(&other)) {
            prop_assert!((a * factor - b).abs() < 1e-9 * b.abs().max(1.0), "{} {}", a * factor, b);
        }
        let (before, after) = (spread(&choice, DRAWS, 3).unwrap(), spread(&other, DRAWS, 3).unwrap());
        for (a, b) in before.ways.iter().zip(&after.ways) {
            prop_assert!((a.spread * factor / b.spread - 1.0).abs() < 1e-4, "{} {}", a.spread * factor, b.spread);
        }
    }

    #[test]
    fn the_same_seed_gives_the_same_spread(choice in varied(), seed: u64) {
        prop_assert_eq!(spread(&choice, DRAWS, seed).unwrap(), spread(&choice, DRAWS, seed).unwrap());
    }
}

fn refusal(change: impl FnOnce(&mut Choice)) -> CompareError {
    let mut choice = small();
    change(&mut choice);
    let error = means(&choice).unwrap_err();
    assert_eq!(spread(&choice, DRAWS, 1).unwrap_err(), error);
    error
}

#[test]
fn what_cannot_be_compared_is_refused_by_name() {
    assert_eq!(refusal(|c| c.years = 0.0), CompareError::NoHorizon { years: 0.0 });
    let negative = |c: &mut Choice| c.ages[0].belief = AgeBelief::Doubtful(Doubtful { middle: -5.0, spread_ln: 0.1 });
    assert_eq!(refusal(negative), CompareError::NegativeAge { age: "car".to_owned(), value: -5.0 });
    let no_currency = refusal(|c| c.prices[1].currency = " ".to_owned());
    assert_eq!(no_currency, CompareError::NoCurrency { price: "used".to_owned() });
    assert_eq!(no_currency.to_string(), "the price \"used\" names no currency; write down what it is in");
    let other = refusal(|c| c.prices[0].currency = "thalers".to_owned());
    assert!(other.to_string().contains("\"repair\" is in thalers"), "{other}");
    assert_eq!(refusal(|c| c.ways.clear()), CompareError::NoWays);
    let twice = refusal(|c| c.ways[0].buys.push((0, 1.0)));
    assert_eq!(twice, CompareError::Twice { way: "repair".to_owned(), price: "repair".to_owned() });
    let days = refusal(|c| c.standing = None);
    assert!(matches!(&days, CompareError::DaysWithoutPrice { what } if what.contains("soft")), "{days}");
    let backwards = refusal(|c| c.prices[0].amount = Law::Rounded { low: 3.0, likely: 2.0, high: 5.0 });
    assert!(backwards.to_string().contains("\"repair\" goes from 3 over 2 to 5"), "{backwards}");
    assert!(matches!(refusal(|c| c.ways[0].buys[0].0 = 9), CompareError::Nowhere { place: 9, .. }));
    let fittings = refusal(|c| c.ways[1].fitted.truncate(1));
    assert_eq!(fittings, CompareError::Fittings { way: "used".to_owned(), found: 1, expected: 3 });
    assert!(matches!(refusal(|c| c.ways[0].surprises[0].chance = 1.2), CompareError::Number { .. }));
    assert_eq!(spread(&small(), 10, 1).unwrap_err(), CompareError::Draws { draws: 10 });
}
