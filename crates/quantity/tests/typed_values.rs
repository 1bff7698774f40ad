//! What people type at a bench, read as they mean it, asked where it can be read twice, refused where it is no value.
#![expect(clippy::panic, reason = "the helper of a test may fail it")]

use quantity::{DoubtReply, ParseError, Reply, Unit, parse_quantity, parse_with_doubt};

fn value(text: &str, expected: Option<Unit>) -> quantity::Typed {
    match parse_quantity(text, expected) {
        Ok(Reply::Value(typed)) => typed,
        other => panic!("{text:?} should be one value, got {other:?}"),
    }
}

// Source:   what each form says in plain words; conversions by the definitions inch = 25.4 mm,
//           pound-force = 4.4482216152605 N (NIST SP 811:2008, B.8)
// Value by: hand, in the unit of the third column
// Digits:   exact decimals; the nearest double is compared
const FORMS: &[(&str, Option<Unit>, Unit, f64)] = &[
    ("0.18 mm", None, Unit::MILLIMETRE, 0.18),
    ("0.18mm", None, Unit::MILLIMETRE, 0.18),
    (" 0.18  mm ", None, Unit::MILLIMETRE, 0.18),
    ("0,18 mm", None, Unit::MILLIMETRE, 0.18),
    ("0,123 mm", None, Unit::MILLIMETRE, 0.123),
    (",05 mm", None, Unit::MILLIMETRE, 0.05),
    ("5. mm", None, Unit::MILLIMETRE, 5.0),
    ("-0,05", Some(Unit::MILLIMETRE), Unit::MILLIMETRE, -0.05),
    ("\u{2212}0.05", Some(Unit::MILLIMETRE), Unit::MILLIMETRE, -0.05),
    ("\u{2013}0.05 mm", None, Unit::MILLIMETRE, -0.05),
    ("\u{2014}0.05 mm", None, Unit::MILLIMETRE, -0.05),
    ("\u{ff0d}0.05 mm", None, Unit::MILLIMETRE, -0.05),
    ("- 0.05 mm", None, Unit::MILLIMETRE, -0.05),
    ("+0.05 mm", None, Unit::MILLIMETRE, 0.05),
    ("-0 mm", None, Unit::MILLIMETRE, 0.0),
    ("7 thou", None, Unit::MILLIMETRE, 0.1778),
    ("7thou", None, Unit::MILLIMETRE, 0.1778),
    (".007\"", None, Unit::MILLIMETRE, 0.1778),
    (".007\u{2033}", None, Unit::MILLIMETRE, 0.1778),
    (".007\u{201d}", None, Unit::MILLIMETRE, 0.1778),
    ("0.007''", None, Unit::MILLIMETRE, 0.1778),
    ("0.007in.", None, Unit::MILLIMETRE, 0.1778),
    ("0.007 inches", None, Unit::MILLIMETRE, 0.1778),
    ("1/64 in", None, Unit::MILLIMETRE, 0.396_875),
    ("1/64\"", None, Unit::MILLIMETRE, 0.396_875),
    ("1 1/2 in", None, Unit::MILLIMETRE, 38.1),
    ("1-1/2 in", None, Unit::MILLIMETRE, 38.1),
    ("1\u{bd}\"", None, Unit::MILLIMETRE, 38.1),
    ("1 \u{bd} in", None, Unit::MILLIMETRE, 38.1),
    ("\u{be} in", None, Unit::MILLIMETRE, 19.05),
    ("-1 1/2 in", None, Unit::MILLIMETRE, -38.1),
    ("3\u{2044}8 in", None, Unit::MILLIMETRE, 9.525),
    ("2 1/16 in", None, Unit::MILLIMETRE, 52.3875),
    ("5 \u{b5}m", None, Unit::MILLIMETRE, 0.005),
    ("5 \u{3bc}m", None, Unit::MILLIMETRE, 0.005),
    ("5um", None, Unit::MILLIMETRE, 0.005),
    ("5 microns", None, Unit::MILLIMETRE, 0.005),
    ("8.8 cm", None, Unit::MILLIMETRE, 88.0),
    ("\u{d8}88 mm", None, Unit::MILLIMETRE, 88.0),
    ("88 MM", None, Unit::MILLIMETRE, 88.0),
    ("1234 mm", None, Unit::MILLIMETRE, 1234.0),
    ("1234,567 mm", None, Unit::MILLIMETRE, 1234.567),
    ("1.234 mm", None, Unit::MILLIMETRE, 1.234),
    ("1,2345 mm", None, Unit::MILLIMETRE, 1.2345),
    ("1,234.5 mm", None, Unit::MILLIMETRE, 1234.5),
    ("1.234,5 mm", None, Unit::MILLIMETRE, 1234.5),
    ("1.5e-3 mm", None, Unit::MILLIMETRE, 0.0015),
    ("2E2 mm", None, Unit::MILLIMETRE, 200.0),
    ("25 ft-lb", None, Unit::FOOT_POUND, 25.0),
    ("25 ft lb", None, Unit::FOOT_POUND, 25.0),
    ("25 ft.lbf", None, Unit::FOOT_POUND, 25.0),
    ("25 lb-ft", None, Unit::FOOT_POUND, 25.0),
    ("25 lbf\u{b7}ft", None, Unit::FOOT_POUND, 25.0),
    ("25 ftlbs", None, Unit::FOOT_POUND, 25.0),
    ("25 foot pounds", None, Unit::FOOT_POUND, 25.0),
    ("120 in-lb", None, Unit::FOOT_POUND, 10.0),
    ("40 N\u{b7}m", None, Unit::NEWTON_METRE, 40.0),
    ("40 Nm", None, Unit::NEWTON_METRE, 40.0),
    ("40 N.m", None, Unit::NEWTON_METRE, 40.0),
    ("40N.m", None, Unit::NEWTON_METRE, 40.0),
    ("40 N m", None, Unit::NEWTON_METRE, 40.0),
    ("40 NM", None, Unit::NEWTON_METRE, 40.0),
    ("40 nm", Some(Unit::NEWTON_METRE), Unit::NEWTON_METRE, 40.0),
    ("4 kgm", None, Unit::NEWTON_METRE, 39.2266),
    ("145 psi", None, Unit::PSI, 145.0),
    ("145 PSI", None, Unit::PSI, 145.0),
    ("10 bar", None, Unit::KILOPASCAL, 1000.0),
    ("10 Bar", None, Unit::KILOPASCAL, 1000.0),
    ("11,5 bar", None, Unit::BAR, 11.5),
    ("18 inHg", None, Unit::INCH_OF_MERCURY, 18.0),
    ("18 in Hg", None, Unit::INCH_OF_MERCURY, 18.0),
    ("10 kg/cm\u{b2}", None, Unit::KILOPASCAL, 980.665),
    ("1.2 MPa", None, Unit::BAR, 12.0),
    ("12 cc", None, Unit::CUBIC_CENTIMETRE, 12.0),
    ("12 cm\u{b3}", None, Unit::CUBIC_CENTIMETRE, 12.0),
    ("12 cm^3", None, Unit::CUBIC_CENTIMETRE, 12.0),
    ("12 ml", None, Unit::CUBIC_CENTIMETRE, 12.0),
    ("0.5 L", None, Unit::CUBIC_CENTIMETRE, 500.0),
    ("2 cu in", None, Unit::CUBIC_CENTIMETRE, 32.774_128),
    ("20 \u{b0}C", None, Unit::CELSIUS, 20.0),
    ("20C", None, Unit::CELSIUS, 20.0),
    ("20 c", Some(Unit::CELSIUS), Unit::CELSIUS, 20.0),
    ("20 degrees C", None, Unit::CELSIUS, 20.0),
    ("68 F", None, Unit::CELSIUS, 20.0),
    ("68\u{b0}F", Some(Unit::CELSIUS), Unit::CELSIUS, 20.0),
    ("18 \u{b0}F", Some(Unit::KELVIN_DIFFERENCE), Unit::KELVIN_DIFFERENCE, 10.0),
    ("90\u{b0}", None, Unit::DEGREE, 90.0),
    ("90 deg", None, Unit::DEGREE, 90.0),
    ("120 000 km", None, Unit::KILOMETRE, 120_000.0),
    ("120\u{a0}000 km", None, Unit::KILOMETRE, 120_000.0),
    ("120\u{202f}000 km", None, Unit::KILOMETRE, 120_000.0),
    ("120'000 km", None, Unit::KILOMETRE, 120_000.0),
    ("74,000 miles", None, Unit::MILE, 74_000.0),
    ("74,000", Some(Unit::MILE), Unit::MILE, 74_000.0),
    ("1,274,000 km", None, Unit::KILOMETRE, 1_274_000.0),
    ("1.274.000 km", None, Unit::KILOMETRE, 1_274_000.0),
    ("74k miles", None, Unit::MILE, 74_000.0),
    ("120k", Some(Unit::KILOMETRE), Unit::KILOMETRE, 120_000.0),
    ("30 %", None, Unit::PERCENT, 30.0),
    ("30%", Some(Unit::ONE), Unit::ONE, 0.3),
    ("30 percent", None, Unit::PERCENT, 30.0),
    ("0.14", Some(Unit::ONE), Unit::ONE, 0.14),
    ("0.14 1", None, Unit::ONE, 0.14),
    ("250 rpm", None, Unit::PER_MINUTE, 250.0),
    ("250 1/min", None, Unit::PER_MINUTE, 250.0),
    ("1,800 rpm", None, Unit::PER_MINUTE, 1800.0),
    ("105 HB", None, Unit::BRINELL, 105.0),
    ("12.4 V", None, Unit::VOLT, 12.4),
    ("40 lbs", Some(Unit::NEWTON), Unit::POUND_FORCE, 40.0),
    ("25 kg", Some(Unit::NEWTON), Unit::NEWTON, 245.166_25),
    ("42 N/mm", None, Unit::NEWTON_PER_MILLIMETRE, 42.0),
    ("22e-6 1/K", None, Unit::PER_KELVIN, 22e-6),
    ("22 ppm/K", None, Unit::PER_KELVIN, 22e-6),
    ("45 min", None, Unit::HOUR, 0.75),
    ("2 h", None, Unit::MINUTE, 120.0),
    ("8 pcs", None, Unit::PIECE, 8.0),
];

#[test]
fn every_bench_form_is_read_as_it_is_meant() {
    for (text, expected, unit, number) in FORMS {
        let typed = value(text, *expected);
        let got = typed.value_in(*unit).unwrap();
        assert!((got - number).abs() <= f64::EPSILON * number.abs(), "{text:?} gave {got} {unit}, meant {number}");
        assert_eq!(&typed.text, text, "the text is kept as typed");
    }
    assert!(FORMS.len() >= 100);
}

#[test]
fn the_last_digit_typed_gives_the_resolution() {
    for (text, step) in [
        ("0.180 mm", 0.001),
        ("0.18 mm", 0.01),
        ("5 mm", 1.0),
        ("1/64 in", 1.0 / 64.0),
        ("1 1/2 in", 0.5),
        ("1.5e-3 mm", 1e-4),
        ("120 000 km", 1.0),
    ] {
        let typed = value(text, None);
        assert!((typed.resolution - step).abs() < 1e-15, "{text:?} gave {}", typed.resolution);
    }
    let typed = value("7 thou", None);
    assert!((typed.resolution_in(Unit::MILLIMETRE).unwrap() - 0.0254).abs() < 1e-15);
}

#[test]
fn a_text_with_two_readings_is_asked_about_and_never_guessed() {
    type Readings = &'static [(f64, Unit)];
    let cases: &[(&str, Option<Unit>, Readings)] = &[
        ("1,234 mm", None, &[(1.234, Unit::MILLIMETRE), (1234.0, Unit::MILLIMETRE)]),
        ("1,000", Some(Unit::MILLIMETRE), &[(1.0, Unit::MILLIMETRE), (1000.0, Unit::MILLIMETRE)]),
        ("-12,345 in", None, &[(-12345.0, Unit::INCH), (-12.345, Unit::INCH)]),
        ("120.000 km", None, &[(120.0, Unit::KILOMETRE), (120_000.0, Unit::KILOMETRE)]),
        ("150 155 psi", None, &[(150.0, Unit::PSI), (155.0, Unit::PSI), (150_155.0, Unit::PSI)]),
        (
            "940 870",
            Some(Unit::KILOPASCAL),
            &[(870.0, Unit::KILOPASCAL), (940.0, Unit::KILOPASCAL), (940_870.0, Unit::KILOPASCAL)],
        ),
        ("10 mil", None, &[(10.0, Unit::THOU), (10.0, Unit::MILLIMETRE)]),
        ("5 tenths", None, &[(0.0005, Unit::INCH), (0.5, Unit::MILLIMETRE)]),
        ("3 hundredths", Some(Unit::MILLIMETRE), &[(0.03, Unit::MILLIMETRE), (0.03, Unit::INCH)]),
        ("2 gal", None, &[(2.0, Unit::US_GALLON), (2.0, Unit::IMPERIAL_GALLON)]),
        ("25 lbs", Some(Unit::NEWTON_METRE), &[(25.0, Unit::INCH_POUND), (25.0, Unit::FOOT_POUND)]),
        ("25 lb", None, &[(25.0, Unit::POUND), (25.0, Unit::POUND_FORCE)]),
        ("20\u{b0}", Some(Unit::CELSIUS), &[(20.0, Unit::CELSIUS), (20.0, Unit::FAHRENHEIT)]),
        ("\u{b1}0.05 mm", None, &[(-0.05, Unit::MILLIMETRE), (0.05, Unit::MILLIMETRE)]),
        ("+/-0.05 mm", None, &[(-0.05, Unit::MILLIMETRE), (0.05, Unit::MILLIMETRE)]),
    ];
    for (text, expected, readings) in cases {
        let Ok(Reply::Question(question)) = parse_quantity(text, *expected) else {
            panic!("{text:?} should be asked about, got {:?}", parse_quantity(text, *expected));
        };
        assert_eq!(&question.typed, text);
        assert_eq!(question.readings.len(), readings.len(), "{text:?}: {question:?}");
        for (number, unit) in *readings {
            assert!(
                question
                    .readings
                    .iter()
                    .any(|reading| reading.unit == *unit && (reading.number - number).abs() < 1e-12),
                "{text:?} lacks {number} {unit}: {question:?}"
            );
        }
        assert!(question.ask.ends_with('?') && question.ask.contains(text), "{}", question.ask);
    }
}

#[test]
fn thousands_set_apart_by_a_space_stay_one_value_where_two_readings_make_no_sense() {
    for (text, number) in [
        ("120 000 km", 120_000.0),
        ("145 250 km", 145_250.0),
        ("120 150 mi", 120_150.0),
        ("101 325 Pa", 101_325.0),
        ("150 000 psi", 150_000.0),
        ("1 210 kPa", 1210.0),
        ("123 456 789 Pa", 123_456_789.0),
        ("3/1000 in", 0.003),
        ("129/256 in", 129.0 / 256.0),
    ] {
        let typed = value(text, None);
        assert!((typed.number - number).abs() < 1e-12, "{text:?} gave {}", typed.number);
    }
}

#[test]
fn the_sentence_to_ask_holds_both_readings() {
    let Ok(Reply::Question(question)) = parse_quantity("1,234 mm", None) else { panic!("a question") };
    assert_eq!(question.ask, "\"1,234 mm\" can be 1.234 mm or 1234 mm: which one is meant?");
}

#[test]
fn what_is_no_value_is_refused_with_what_was_typed_and_the_next_move() {
    let mm = Some(Unit::MILLIMETRE);
    let cases: &[(&str, Option<Unit>, &str)] = &[
        ("", mm, "nothing was typed"),
        ("   ", mm, "nothing was typed"),
        ("NaN", mm, "not a finite number"),
        ("nan mm", mm, "not a finite number"),
        ("inf", mm, "not a finite number"),
        ("-infinity", mm, "not a finite number"),
        ("\u{221e} mm", mm, "not a finite number"),
        ("1e999 mm", mm, "power of ten is too large"),
        ("mm", mm, "has no number at character 1"),
        ("abc", mm, "has no number at character 1"),
        ("-", mm, "has no number"),
        (".", mm, "has no number"),
        ("5", None, "has no unit"),
        ("5 blobs", None, "\"blobs\" at character 3"),
        ("5 blobs", mm, "type mm, "),
        ("5 bar", mm, "is in bar, which measures pressure, where length is expected; type it in mm, µm, in or thou"),
        ("5 km", mm, "is in km, which measures road distance, where length is expected"),
        ("20 \u{b0}C", mm, "which measures temperature"),
        ("2 in 1/16", mm, "holds two numbers, the second at character 6"),
        ("5 ft 6 in", mm, "holds two numbers"),
        ("5'6\"", mm, "holds two numbers"),
        ("0.03-0.05 mm", mm, "is a range"),
        ("0.03 to 0.05 mm", mm, "is a range"),
        ("0.03 mm - 0.05 mm", mm, "is a range"),
        ("< 0.03 mm", mm, "starts with '<'"),
        ("~0.03 mm", mm, "starts with '~'"),
        ("1/0 in", mm, "denominator is zero"),
        ("1 3/2 in", mm, "type it as one number"),
        ("12 34 mm", mm, "grouped by threes"),
        ("150/155 psi", None, "looks like two readings"),
        ("150, 155 psi", None, "grouped by threes"),
        ("1,23,456 mm", mm, "grouped by threes"),
        ("1.2.3 mm", mm, "grouped by threes"),
        ("1.234,567,8 mm", mm, "mixed"),
        ("88 mm \u{b1} 0.01 mm", mm, "carries an uncertainty at character 7"),
    ];
    for (text, expected, said) in cases {
        match parse_quantity(text, *expected) {
            Err(error) => {
                let message = error.to_string();
                assert!(message.contains(said), "{text:?} said {message:?}, wanted {said:?}");
                assert!(!message.ends_with('.'), "{message}");
                if !text.trim().is_empty() {
                    assert!(message.contains(&format!("{text:?}")), "{message} does not name {text:?}");
                }
            }
            Ok(reply) => panic!("{text:?} was taken for {reply:?}"),
        }
    }
    assert!(matches!(parse_quantity(&"1".repeat(500), mm), Err(ParseError::TooLong { length: 500 })));
}

#[test]
fn a_temperature_and_a_difference_of_temperatures_do_not_convert_into_each_other() {
    assert!(Unit::CELSIUS.convert(20.0, Unit::KELVIN_DIFFERENCE).is_err());
    assert!((Unit::FAHRENHEIT.convert(210.0, Unit::CELSIUS).unwrap() - 98.888_888_888_9).abs() < 1e-9);
    assert!(
        (Unit::FAHRENHEIT_DIFFERENCE.convert(10.0, Unit::KELVIN_DIFFERENCE).unwrap() - 5.555_555_555_56).abs() < 1e-9
    );
}

#[test]
fn an_uncertainty_behind_the_value_is_read_in_every_form() {
    let cases: &[(&str, Option<Unit>, f64, f64, Unit)] = &[
        ("88mm\u{b1}0.01mm", None, 88.0, 0.01, Unit::MILLIMETRE),
        ("88 mm \u{b1} 10 \u{b5}m", None, 88.0, 0.01, Unit::MILLIMETRE),
        ("88 \u{b1} 0,01 mm", None, 88.0, 0.01, Unit::MILLIMETRE),
        ("88 \u{b1} 0,01", Some(Unit::MILLIMETRE), 88.0, 0.01, Unit::MILLIMETRE),
        ("88 mm +/- 0.01", None, 88.0, 0.01, Unit::MILLIMETRE),
        ("88 mm \u{b1} 0.02 mm (k=2)", None, 88.0, 0.01, Unit::MILLIMETRE),
        ("40 N.m \u{b1} 5 %", None, 40.0, 2.0, Unit::NEWTON_METRE),
        ("20 \u{b0}C \u{b1} 0.5 \u{b0}C", None, 20.0, 0.5, Unit::CELSIUS),
        ("20 \u{b0}C \u{b1} 1.8 \u{b0}F", None, 20.0, 1.0, Unit::CELSIUS),
        ("0.12\u{b1}0.02", Some(Unit::ONE), 0.12, 0.02, Unit::ONE),
        ("12 % \u{b1} 2 %", Some(Unit::PERCENT), 12.0, 2.0, Unit::PERCENT),
    ];
    for (text, expected, number, u, unit) in cases {
        let Ok(DoubtReply::Value(read)) = parse_with_doubt(text, *expected) else {
            panic!("{text:?} gave {:?}", parse_with_doubt(text, *expected));
        };
        assert_eq!(read.typed.unit, *unit, "{text:?}");
        assert!(
            (read.typed.number - number).abs() < 1e-12 && (read.u.unwrap() - u).abs() < 1e-12,
            "{text:?} gave {read:?}"
        );
        assert_eq!(&read.typed.text, text);
    }
    assert!(matches!(parse_with_doubt("88 mm \u{b1} -0.01 mm", None), Err(ParseError::BadDoubt { .. })));
    assert!(matches!(parse_with_doubt("88 mm \u{b1} 1 bar", None), Err(ParseError::BadDoubt { .. })));
    assert!(matches!(parse_with_doubt("88 mm \u{b1} 0.02 mm (k=0)", None), Err(ParseError::BadDoubt { .. })));
}

#[test]
fn typed_values_survive_their_stored_form() {
    for (text, expected, ..) in FORMS {
        let typed = value(text, *expected);
        let stored = serde_json::to_string(&typed).unwrap();
        assert_eq!(serde_json::from_str::<quantity::Typed>(&stored).unwrap(), typed);
    }
}
