//! Bills with tax against another implementation of decimal arithmetic, and their laws under every rule.

#![expect(clippy::unwrap_used, reason = "clippy lets only the tests themselves off, not the functions they share")]

use proptest::prelude::*;
use quantity::tax::part_of_one;
use quantity::{Charge, Currency, Decimal, Money, Prices, Rounding, TaxBy, TaxRules};

/// `SplitMix64` (Steele, Lea, Flood, OOPSLA 2014).
struct Draw(u64);

impl Draw {
    fn below(&mut self, n: u64) -> i64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        i64::try_from((z ^ (z >> 31)) % n).unwrap()
    }

    fn which<T: Copy>(&mut self, all: &[T]) -> T {
        let n = self.below(all.len() as u64);
        *all.get(usize::try_from(n).unwrap()).unwrap()
    }
}

/// Net amount and tax of a drawn bill, in minor units.
fn bill(number: u64) -> (i128, i128) {
    let mut draw = Draw(number);
    let (currency, digits) = draw.which(&[(Currency::EUR, 2), (Currency::JPY, 0), (Currency::TND, 3)]);
    let rate = Decimal::new(draw.below(2800), 4);
    let by = draw.which(&[TaxBy::Total, TaxBy::Line]);
    let prices = draw.which(&[Prices::WithoutTax, Prices::WithTax]);
    let rounding = draw.which(&[Rounding::HalfUp, Rounding::HalfEven, Rounding::Down]);
    let mut lines = Vec::new();
    for _ in 0..=draw.below(12) {
        let each = Decimal::new(draw.below(500_000), digits);
        let count = Decimal::new(1 + draw.below(2000), 2);
        let markup = Decimal::new(draw.below(600), 3);
        let taxed = draw.below(4) > 0;
        let amount = Money::rounded_by(rounding, each * count * (Decimal::ONE + markup), currency).unwrap();
        lines.push((amount, taxed));
    }
    let sum = TaxRules { rate, by, prices, rounding }.add_up(currency, &lines).unwrap();
    assert_eq!(sum.net.plus(&sum.tax).unwrap(), sum.total);
    (sum.net.amount().mantissa(), sum.tax.amount().mantissa())
}

#[test]
fn a_hundred_thousand_bills_agree_to_the_cent_with_another_decimal_arithmetic() {
    let rows = include_str!("../../../reference/bills/bills.csv").lines().skip(1);
    let mut blocks = 0;
    for row in rows {
        let wanted: Vec<i128> = row.split(',').map(|n| n.parse().unwrap()).collect();
        let first = u64::try_from(wanted[0]).unwrap();
        let mut found = [wanted[0], 0, 0, 0];
        for k in 0..100 {
            let (net, tax) = bill(first + k);
            found[1] += net;
            found[2] += tax;
            found[3] += i128::from(k + 1) * (net + 3 * tax);
        }
        assert_eq!(found.as_slice(), wanted.as_slice(), "bills from {first}");
        blocks += 1;
    }
    assert_eq!(blocks, 1000);
}

fn euro(cents: i64) -> Money {
    Money::new(Decimal::new(cents, 2), Currency::EUR).unwrap()
}

fn rules(percent: &str, by: TaxBy, prices: Prices) -> TaxRules {
    TaxRules { rate: part_of_one(percent).unwrap(), by, prices, rounding: Rounding::HalfUp }
}

#[test]
fn tax_by_line_and_on_the_total_differ_by_what_rounding_each_line_makes() {
    // Three lines of 0.33 at 19 %: each line 0.0627, rounded 0.06; the total 0.99, tax 0.1881, rounded 0.19.
    let lines = [(euro(33), true); 3];
    let on = |by| rules("19", by, Prices::WithoutTax).add_up(Currency::EUR, &lines).unwrap();
    assert_eq!(on(TaxBy::Line).tax, euro(18));
    assert_eq!(on(TaxBy::Total).tax, euro(19));
    // 119.00 with 19 % in it are 100.00 and 19.00.
    let held = rules("19", TaxBy::Total, Prices::WithTax).add_up(Currency::EUR, &[(euro(11_900), true)]).unwrap();
    assert_eq!((held.net, held.tax, held.total), (euro(10_000), euro(1_900), euro(11_900)));
    // What is not taxed goes through as it is.
    let mixed = [(euro(10_000), true), (euro(5_000), false)];
    let sum = rules("8.25 %", TaxBy::Total, Prices::WithoutTax).add_up(Currency::EUR, &mixed).unwrap();
    assert_eq!((sum.net, sum.tax, sum.total), (euro(15_000), euro(825), euro(15_825)));
    let other = [(Money::zero(Currency::USD).unwrap(), true)];
    assert!(rules("8", TaxBy::Total, Prices::WithoutTax).add_up(Currency::EUR, &other).is_err());
}

#[test]
fn a_percentage_is_read_as_people_write_it() {
    for (typed, wanted) in [("19", "0.19"), ("8.25 %", "0.0825"), ("8,25", "0.0825"), (" 0 ", "0"), ("1000", "10")] {
        assert_eq!(part_of_one(typed), Some(wanted.parse().unwrap()), "{typed}");
    }
    for typed in ["", "%", "-1", "1001", "nineteen", "19 19"] {
        assert_eq!(part_of_one(typed), None, "{typed}");
    }
}

#[test]
fn words_are_those_that_are_stored() {
    let stored = |value: serde_json::Value| value.as_str().unwrap().to_owned();
    for one in Charge::ALL {
        assert_eq!(stored(serde_json::to_value(one).unwrap()), one.word());
    }
    for one in TaxBy::ALL {
        assert_eq!(stored(serde_json::to_value(one).unwrap()), one.word());
    }
    for one in Prices::ALL {
        assert_eq!(stored(serde_json::to_value(one).unwrap()), one.word());
    }
    for one in Rounding::ALL {
        assert_eq!(stored(serde_json::to_value(one).unwrap()), one.word());
    }
}

proptest! {
    #[test]
    fn lines_add_to_totals_under_every_rule(
        amounts in prop::collection::vec((0_i64..10_000_000, any::<bool>()), 0..20),
        rate in 0_i64..5000,
        by in prop::sample::select(TaxBy::ALL),
        prices in prop::sample::select(Prices::ALL),
        rounding in prop::sample::select(Rounding::ALL),
    ) {
        let lines: Vec<(Money, bool)> = amounts.iter().map(|(cents, taxed)| (euro(*cents), *taxed)).collect();
        let typed = Money::sum(&lines.iter().map(|(m, _)| *m).chain([euro(0)]).collect::<Vec<_>>()).unwrap();
        let sum = TaxRules { rate: Decimal::new(rate, 4), by, prices, rounding }.add_up(Currency::EUR, &lines).unwrap();
        prop_assert_eq!(sum.net.plus(&sum.tax).unwrap(), sum.total);
        // What was typed is the net amount, or the total, and nothing else.
        let same = match prices {
            Prices::WithoutTax => sum.net,
            Prices::WithTax => sum.total,
        };
        prop_assert_eq!(same, typed);
        prop_assert!(sum.tax.amount() >= Decimal::ZERO);
    }
}
