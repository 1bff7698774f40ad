//! Money against decimal arithmetic done elsewhere.
#![expect(clippy::unwrap_used, reason = "the helpers of a test may fail it")]

use quantity::money::minor_digits;
use quantity::{Currency, Decimal, Money, MoneyReply, parse_money};

fn dec(text: &str) -> Decimal {
    text.parse().unwrap()
}

fn eur(text: &str) -> Money {
    Money::new(dec(text), Currency::EUR).unwrap()
}

// Source:   definition of rounding half away from zero
// Value by: Python decimal (standard library), ROUND_HALF_UP on text
#[test]
fn halves_round_away_from_zero() {
    for (text, rounded) in [
        ("0.125", "0.13"),
        ("0.135", "0.14"),
        ("2.345", "2.35"),
        ("2.355", "2.36"),
        ("-0.125", "-0.13"),
        ("1.005", "1.01"),
        ("10.994", "10.99"),
        ("10.995", "11.00"),
    ] {
        assert_eq!(Money::rounded(dec(text), Currency::EUR).unwrap().amount().to_string(), rounded, "{text}");
    }
}

// Source:   ISO 4217 list one [published, recalled]
#[test]
fn minor_digits_are_those_of_the_standard() {
    for (code, digits) in [
        ("USD", 2),
        ("EUR", 2),
        ("GBP", 2),
        ("JPY", 0),
        ("KRW", 0),
        ("KWD", 3),
        ("BHD", 3),
        ("TND", 3),
        ("CHF", 2),
        ("MXN", 2),
        ("CAD", 2),
    ] {
        assert_eq!(minor_digits(Currency::from_code(code).unwrap()), Ok(digits), "{code}");
    }
}

// Source:   arithmetic; Value by: Python decimal (standard library). Both ways of taxing are in use, the place decides.
#[test]
fn tax_by_line_and_tax_on_the_total_differ_as_computed_elsewhere() {
    let lines: Vec<Money> = ["9.77", "24.31", "3.10", "3.10", "0.79"].iter().map(|text| eur(text)).collect();
    let rate = dec("0.0825");
    let subtotal = Money::sum(&lines).unwrap();
    assert_eq!(subtotal, eur("41.07"));
    let by_line: Vec<Money> = lines.iter().map(|line| line.times(rate).unwrap()).collect();
    assert_eq!(Money::sum(&by_line).unwrap(), eur("3.41"));
    assert_eq!(subtotal.times(rate).unwrap(), eur("3.39"));
}

// Source:   arithmetic; Value by: Python decimal (standard library)
#[test]
fn a_price_with_tax_splits_into_net_and_tax() {
    assert_eq!(eur("120.00").without_tax(dec("0.20")).unwrap(), (eur("100.00"), eur("20.00")));
    assert_eq!(eur("120.00").without_tax(dec("0.19")).unwrap(), (eur("100.84"), eur("19.16")));
}

#[test]
fn amounts_print_in_one_form_and_read_back() {
    for (amount, code, printed) in [
        ("1234.5", "EUR", "EUR 1,234.50"),
        ("-1234567.89", "USD", "USD -1,234,567.89"),
        ("0", "EUR", "EUR 0.00"),
        ("1234", "JPY", "JPY 1,234"),
        ("12.345", "KWD", "KWD 12.345"),
        ("999", "EUR", "EUR 999.00"),
    ] {
        let money = Money::new(dec(amount), Currency::from_code(code).unwrap()).unwrap();
        assert_eq!(money.to_string(), printed);
        assert_eq!(parse_money(printed, None), Ok(MoneyReply::Value(money)));
        let stored = serde_json::to_string(&money).unwrap();
        assert_eq!(serde_json::from_str::<Money>(&stored).unwrap(), money);
    }
}

#[test]
fn amounts_are_read_in_the_forms_people_type() {
    for (text, amount) in [
        ("12.50 EUR", "12.50"),
        ("12,50 EUR", "12.50"),
        ("eur 12.5", "12.50"),
        ("EUR12.50", "12.50"),
        ("1,234.50", "1234.50"),
        ("1.234,50", "1234.50"),
        ("1 234,50", "1234.50"),
        ("1'234.50", "1234.50"),
        ("1,234", "1234.00"),
        ("-12.50", "-12.50"),
        ("\u{2212}12.50", "-12.50"),
    ] {
        assert_eq!(parse_money(text, Some(Currency::EUR)), Ok(MoneyReply::Value(eur(amount))), "{text}");
    }
    assert!(matches!(parse_money("KWD 1,234", None), Ok(MoneyReply::Question { readings, .. }) if readings.len() == 2));
    for bad in
        ["", "EUR", "12.50", "12.505 EUR", "12 XYZW", "1.2.3 EUR", "EUR 12 EUR", "NaN EUR", "1,23,4 EUR", "12.5 mm"]
    {
        assert!(parse_money(bad, None).is_err(), "{bad:?} was taken: {:?}", parse_money(bad, None));
    }
}

#[test]
fn currencies_do_not_mix_and_too_many_digits_are_refused() {
    let usd = Money::new(dec("1.00"), Currency::USD).unwrap();
    assert!(eur("1.00").plus(&usd).is_err() && eur("1.00").compare(&usd).is_err());
    assert!(Money::new(dec("1.005"), Currency::EUR).is_err());
    assert!(Money::new(dec("1.5"), Currency::JPY).is_err());
    assert!(Money::sum(&[]).is_err());
    assert!(serde_json::from_str::<Money>(r#"{"amount":"1.005","currency":"EUR"}"#).is_err());
    assert!(Money::new(Decimal::MAX, Currency::EUR).is_err());
}

#[test]
fn a_split_adds_up_to_the_cent() {
    let parts = eur("100.00").split(3).unwrap();
    assert_eq!(parts, vec![eur("33.34"), eur("33.33"), eur("33.33")]);
    assert_eq!(Money::sum(&eur("-0.05").split(3).unwrap()).unwrap(), eur("-0.05"));
    assert!(eur("1.00").split(0).is_err());
}

proptest::proptest! {
    #[test]
    fn splits_always_add_up(minor in -10_000_000i64..10_000_000, parts in 1u32..50) {
        let money = Money::new(Decimal::new(minor, 2), Currency::EUR).unwrap();
        proptest::prop_assert_eq!(Money::sum(&money.split(parts).unwrap()).unwrap(), money);
    }
}
