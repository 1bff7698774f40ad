//! Units against published factors, and back and forth.

use proptest::prelude::*;
use quantity::{Difference, Dimension, Size, Unit};

// Source:   NIST Special Publication 811 (2008), appendix B.8 [published]; inch = 25.4 mm and pound by definition
// Value by: recomputed with Pint 0.25.3, not by this code; pressure columns recalled from the same table
// Digits:   as printed there; tolerance 1e-9 relative unless the row says otherwise
const FACTORS: &[(f64, Unit, f64, Unit, f64)] = &[
    (1.0, Unit::INCH_POUND, 0.112_984_829_028, Unit::NEWTON_METRE, 1e-9),
    (1.0, Unit::FOOT_POUND, 1.355_817_948_33, Unit::NEWTON_METRE, 1e-9),
    (1.0, Unit::KILOGRAM_METRE, 9.806_65, Unit::NEWTON_METRE, 1e-9),
    (1.0, Unit::PSI, 6_894.757_293_17, Unit::PASCAL, 1e-9),
    (1.0, Unit::BAR, 100_000.0, Unit::PASCAL, 1e-9),
    (1.0, Unit::BAR, 14.503_773_773, Unit::PSI, 1e-9),
    // The conventional column; the one at 32 °F is 3386.38 and agrees to its last digit but one.
    (1.0, Unit::INCH_OF_MERCURY, 3_386.389, Unit::PASCAL, 1e-6),
    (1.0, Unit::INCH_OF_WATER, 249.0889, Unit::PASCAL, 1e-6),
    (1.0, Unit::ATMOSPHERE, 101_325.0, Unit::PASCAL, 1e-9),
    (1.0, Unit::THOU, 25.4, Unit::MICROMETRE, 1e-9),
    (0.002, Unit::INCH, 0.0508, Unit::MILLIMETRE, 1e-9),
    (0.001, Unit::MILLIMETRE, 0.039_370_078_740_2, Unit::THOU, 1e-9),
    (1.0, Unit::MICROMETRE, 0.039_370_078_740_2, Unit::THOU, 1e-9),
    (10.0, Unit::MILE, 16.093_44, Unit::KILOMETRE, 1e-9),
    (1.0, Unit::CUBIC_INCH, 16.387_064, Unit::CUBIC_CENTIMETRE, 1e-9),
    (1.0, Unit::US_GALLON, 3.785_411_784, Unit::LITRE, 1e-9),
    (1.0, Unit::POUND_FORCE, 4.448_221_615_26, Unit::NEWTON, 1e-9),
    (210.0, Unit::FAHRENHEIT, 98.888_888_888_9, Unit::CELSIUS, 1e-9),
    (10.0, Unit::FAHRENHEIT_DIFFERENCE, 5.555_555_555_56, Unit::KELVIN_DIFFERENCE, 1e-9),
];

#[test]
fn factors_agree_with_the_published_table() {
    for (value, from, expected, to, tolerance) in FACTORS {
        let got = from.convert(*value, *to).unwrap();
        assert!((got / expected - 1.0).abs() <= *tolerance, "{value} {from} gave {got} {to}, table says {expected}");
    }
}

#[test]
fn every_symbol_and_name_reads_back_as_its_own_unit() {
    for unit in Unit::ALL {
        assert_eq!(Unit::from_symbol(unit.symbol()), Ok(*unit));
        let stored = serde_json::to_string(unit).unwrap();
        assert_eq!(serde_json::from_str::<Unit>(&stored).unwrap(), *unit);
    }
}

#[test]
fn symbols_are_unique() {
    for (place, unit) in Unit::ALL.iter().enumerate() {
        assert!(Unit::ALL.iter().skip(place + 1).all(|other| other.symbol() != unit.symbol()), "{unit} appears twice");
    }
}

#[test]
fn units_of_data_files_are_known() {
    for symbol in [
        "in",
        "mm",
        "um",
        "mm^2",
        "N",
        "psi",
        "psig",
        "percent",
        "MPa",
        "Pa",
        "deg",
        "inHg",
        "N.m",
        "lbf.ft",
        "lbf.in",
        "h",
        "1/K",
        "cm^3",
        "cc",
        "kPa",
        "in^2",
        "lbf",
        "nm",
        "degC",
        "km",
        "mi",
        "V",
        "in H2O",
        "ft",
        "thou",
        "rpm",
        "m^3",
        "m^2",
        "lbf/in",
        "N/m",
        "L",
        "HB",
        "C",
        "s",
        "seconds",
        "crank deg",
        "count",
        "-",
    ] {
        assert!(Unit::from_symbol(symbol).is_ok(), "{symbol:?} is not known");
    }
}

#[test]
fn kinds_do_not_mix() {
    for from in Unit::ALL {
        for to in Unit::ALL {
            assert_eq!(from.convert(1.0, *to).is_ok(), from.dimension() == to.dimension(), "{from} to {to}");
        }
    }
    assert!(Unit::MILLIMETRE.convert(f64::NAN, Unit::INCH).is_err());
    assert!(Unit::MILLIMETRE.convert(f64::INFINITY, Unit::MILLIMETRE).is_err());
}

#[test]
fn a_size_less_a_size_is_a_difference() {
    let bore = Size::new(88.03, Unit::MILLIMETRE).unwrap();
    let piston = Size::new(3.4645, Unit::INCH).unwrap();
    let clearance: Difference = bore - piston;
    assert!((clearance.mm() - 0.0317).abs() < 1e-9);
    assert!(Size::new(-0.1, Unit::MILLIMETRE).is_err() && Size::new(f64::NAN, Unit::MILLIMETRE).is_err());
    assert!(Difference::new(-0.1, Unit::MILLIMETRE).is_ok());
    assert!(Size::new(1.0, Unit::BAR).is_err());
}

proptest! {
    #[test]
    fn there_and_back_keeps_the_value(value in -1e9..1e9_f64, from in 0..Unit::ALL.len(), other in 0..100_usize) {
        let from = Unit::ALL[from];
        let alike: Vec<Unit> = Unit::of(from.dimension()).collect();
        let to = alike[other % alike.len()];
        let back = to.convert(from.convert(value, to).unwrap(), from).unwrap();
        // A zero point costs digits near itself, nothing else does.
        let zero_point = if from.dimension() == Dimension::Temperature { 500.0 } else { 0.0 };
        prop_assert!((back - value).abs() <= 4.0 * f64::EPSILON * (value.abs() + zero_point), "{value} {from} came back as {back}");
    }

    #[test]
    fn a_printed_number_reads_back_as_itself(number in -1e6..1e6_f64, unit in 0..Unit::ALL.len()) {
        let unit = Unit::ALL[unit];
        // Three decimals of a road distance are asked about, so they are not made here.
        let number = (number * 1e4).round() / 1e4 + 0.000_05;
        let text = format!("{number:.5} {unit}");
        let reply = quantity::parse_quantity(&text, Some(unit)).unwrap();
        let typed = reply.value().unwrap_or_else(|| panic!("{text:?} asked {reply:?}"));
        prop_assert!((typed.number - number).abs() < 1e-9 * (1.0 + number.abs()));
    }

    #[test]
    fn no_text_makes_the_reader_fall_over(text in ".{0,40}") {
        let _ = quantity::parse_quantity(&text, Some(Unit::MILLIMETRE));
        let _ = quantity::parse_with_doubt(&text, None);
        let _ = quantity::parse_money(&text, Some(quantity::Currency::EUR));
    }

    #[test]
    fn no_bench_like_text_makes_the_reader_fall_over(text in "[0-9 .,/'\"±+eEkK½-]{0,14}(mm|in|N.m|%|°C|)") {
        if let Ok(quantity::Reply::Value(typed)) = quantity::parse_quantity(&text, Some(Unit::MILLIMETRE)) {
            prop_assert!(typed.number.is_finite() && typed.resolution.is_finite());
        }
    }
}
