//! Uncertainty and decisions against the worked examples of the guides.

use quantity::decision::global_risks;
use quantity::measured::{
    coverage_factor, coverage_factor_with, effective_degrees, mean_of_readings, triangular_uncertainty,
    uniform_uncertainty,
};
use quantity::{
    Measured, Risks, Unit, Verdict, Zone, conformity_factor, decide, guard_band, probability_inside, root_sum_square,
};

fn close(got: f64, expected: f64, tolerance: f64) {
    assert!((got - expected).abs() <= tolerance, "got {got}, the source says {expected}");
}

// Source:   JCGM 106:2012, 7.3 breakdown-voltage example (z = 1.40, p = 0.92) [published, recalled]
// Value by: SciPy 1.17.1 norm.cdf; tolerance 1e-9 is below the digits given
#[test]
fn one_sided_chance_agrees_with_the_breakdown_voltage_example() {
    close(probability_inside(-5.47, 0.05, None, Some(-5.4)), 0.919_243_340_766, 1e-9);
}

// Source:   JCGM 106:2012, table 1 [published, recalled]; NIST e-Handbook 1.3.6.7.1
// Value by: SciPy 1.17.1 norm.ppf
#[test]
fn factors_for_one_sided_chances_agree_with_table_1() {
    for (p, z) in [
        (0.8, 0.841_621_233_573),
        (0.9, 1.281_551_565_54),
        (0.95, 1.644_853_626_95),
        (0.975, 1.959_963_984_54),
        (0.99, 2.326_347_874_04),
        (0.995, 2.575_829_303_55),
        (0.999, 3.090_232_306_17),
    ] {
        close(conformity_factor(p).unwrap(), z, 1e-8);
    }
    close(coverage_factor(0.95).unwrap(), 1.959_963_984_54, 1e-8);
}

// Source:   JCGM 106:2012, 7.4/7.5 formula; Value by: SciPy 1.17.1
#[test]
fn two_sided_chance_of_a_bore_agrees() {
    close(probability_inside(86.018, 0.004, Some(86.0), Some(86.022)), 0.841_341_348_396, 1e-8);
    // The numerics paper's figure for 13.6 with u 1.8 between 12.5 and 16.3.
    close(probability_inside(13.6, 1.8, Some(12.5), Some(16.3)), 0.6626, 5e-5);
}

// Source:   JCGM 106:2012, 8.3.2; Value by: SciPy 1.17.1
#[test]
fn guard_band_agrees() {
    close(guard_band(0.01, 0.95).unwrap(), 0.016_448_536_269_5, 1e-10);
    close(probability_inside(0.08, 0.01, None, Some(0.1)), 0.977_249_868_052, 1e-9);
}

// Source:   JCGM 106:2012, 9.5 (precision-resistor type); Value by: SciPy 1.17.1 quadrature
// Second:   process N(86.010, 0.006), u 0.003, limits 86.000 and 86.020, four guards, by a `NumPy` grid
#[test]
fn global_risks_agree() {
    let (bad, good) = global_risks((0.0, 0.12), 0.04, (-0.2, 0.2), 0.0).unwrap();
    close(bad, 0.018_942_206_717, 1e-8);
    close(good, 0.037_207_800_178_1, 1e-8);
    for (guard, consumer, producer) in [
        (0.0, 0.024_445_31, 0.064_901_73),
        (0.5, 0.013_017_14, 0.122_554_12),
        (1.0, 0.005_810_65, 0.206_947_47),
        (1.645, 0.001_544_84, 0.356_185_74),
    ] {
        let (bad, good) = global_risks((86.010, 0.006), 0.003, (86.0, 86.02), guard * 0.003).unwrap();
        close(bad, consumer, 1e-6);
        close(good, producer, 1e-6);
    }
}

// Source:   JCGM 100:2008, 4.4.3 table 1 [published, recalled]; Value by: NumPy 2.4.6
#[test]
fn mean_of_twenty_temperatures_agrees() {
    let readings = [
        96.9, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07, 100.33, 100.42, 100.68, 100.95, 101.11,
        101.2, 101.57, 101.84, 102.36, 102.72,
    ];
    let (mean, spread, of_mean) = mean_of_readings(&readings, Unit::CELSIUS).unwrap();
    close(mean, 100.145, 1e-9);
    close(spread, 1.488_844_483_06, 1e-9);
    close(of_mean, 0.332_915_747_205, 1e-9);
    assert!(mean_of_readings(&[1.0], Unit::CELSIUS).is_err());
}

// Source:   JCGM 100:2008, 4.3.7 and 4.3.8 [published, recalled]; Value by: NumPy 2.4.6
#[test]
fn half_widths_become_standard_uncertainties() {
    close(uniform_uncertainty(4e-7), 2.309_401_076_76e-7, 1e-17);
    close(triangular_uncertainty(4e-7), 1.632_993_161_86e-7, 1e-17);
    close(uniform_uncertainty((16.92e-6 - 16.4e-6) / 2.0), 1.501_110_699_89e-7, 1e-17);
}

// Source:   JCGM 100:2008, H.1 end gauge [published, recalled]: u_c 32 nm, 16 degrees of freedom, U99 93 nm
// Value by: GTC 1.5.1
#[test]
fn end_gauge_budget_agrees() {
    let repeat = root_sum_square(&[5.8, 3.9, 6.7]);
    let repeat_degrees = effective_degrees(&[(5.8, 24.0), (3.9, 5.0), (6.7, 8.0)]);
    let length = 50.000_623e6; // nanometres
    let expansion = length * 0.1 * uniform_uncertainty(1e-6);
    let temperature = length * 1.15e-5 * uniform_uncertainty(0.05);
    let parts = [(25.0, 18.0), (repeat, repeat_degrees), (expansion, 50.0), (temperature, 2.0)];
    let u: Vec<f64> = parts.iter().map(|(u, _)| *u).collect();
    let combined = root_sum_square(&u);
    close(combined, 31.663_879_111, 31.7e-3);
    let degrees = effective_degrees(&parts);
    close(degrees, 16.751_855_737_6, 0.1);
    let factor = coverage_factor_with(0.99, degrees.floor()).unwrap();
    close(factor, 2.92, 0.005);
    close(factor * combined, 93.0, 1.0);
}

// Source:   NIST e-Handbook 1.3.6.7.2; Value by: SciPy 1.17.1
#[test]
fn student_factors_agree() {
    for (degrees, t) in [
        (1.0, 12.706_204_736_2),
        (2.0, 4.302_652_729_75),
        (5.0, 2.570_581_835_64),
        (10.0, 2.228_138_851_99),
        (16.0, 2.119_905_299_22),
        (30.0, 2.042_272_456_3),
    ] {
        close(coverage_factor_with(0.95, degrees).unwrap(), t, 1e-6);
    }
}

#[test]
fn constructors_refuse_what_is_no_measured_value() {
    assert!(Measured::new(f64::NAN, 0.1, Unit::MILLIMETRE).is_err());
    assert!(Measured::new(f64::INFINITY, 0.1, Unit::MILLIMETRE).is_err());
    assert!(Measured::new(1.0, -0.1, Unit::MILLIMETRE).is_err());
    assert!(Measured::new(1.0, f64::NAN, Unit::MILLIMETRE).is_err());
    assert!(serde_json::from_str::<Measured>(r#"{"value":1.0,"u":-1.0,"unit":"mm"}"#).is_err());
    assert!(Zone::at_most(f64::NAN, None).is_err());
    assert!(Zone::at_most(0.1, Some(0.05)).is_err());
    assert!(Zone::at_least(0.1, Some(0.15)).is_err());
    assert!(Zone::within(2.0, 1.0).is_err());
    assert!(Zone::new(None, None, None, None).is_err());
    assert!(Risks::new(0.0, 0.05).is_err() && Risks::new(0.6, 0.05).is_err());
    assert!(decide(f64::NAN, 0.1, &Zone::at_most(1.0, None).unwrap(), Risks::default()).is_err());
    assert!(decide(0.0, -0.1, &Zone::at_most(1.0, None).unwrap(), Risks::default()).is_err());
}

#[test]
fn a_difference_of_two_readings_carries_both_doubts() {
    let bore = Measured::new(88.030, 0.003, Unit::MILLIMETRE).unwrap();
    let piston = Measured::new(87.990, 0.004, Unit::MILLIMETRE).unwrap();
    let clearance = bore.minus(piston).unwrap();
    close(clearance.value, 0.040, 1e-12);
    close(clearance.u, 0.005, 1e-12);
    assert_eq!(clearance.to_string(), "0.0400 ± 0.0050 mm");
    let warm = Measured::new(68.0, 1.8, Unit::FAHRENHEIT).unwrap().in_unit(Unit::CELSIUS).unwrap();
    close(warm.value, 20.0, 1e-12);
    close(warm.u, 1.0, 1e-12);
}

// The rule at the head of `decision`, worked by hand with whole standard deviations.
#[test]
fn the_four_outcomes_follow_the_documented_rule() {
    let zone = Zone::at_most(0.05, Some(0.10)).unwrap();
    let risks = Risks::default();
    let verdict = |value: f64, u: f64| decide(value, u, &zone, risks).unwrap().verdict;
    assert_eq!(verdict(0.03, 0.01), Verdict::Inside); // 2 u inside the keep edge
    assert_eq!(verdict(0.05, 0.0), Verdict::Inside); // exactly on the edge keeps it
    assert_eq!(verdict(0.045, 0.01), Verdict::ByJudgement); // half a u inside keep, 5.5 u inside reject
    assert_eq!(verdict(0.075, 0.01), Verdict::ByJudgement);
    assert_eq!(verdict(0.10, 0.0), Verdict::ByJudgement);
    assert_eq!(verdict(0.095, 0.01), Verdict::CannotTell); // half a u inside the reject edge
    assert_eq!(verdict(0.105, 0.01), Verdict::CannotTell);
    assert_eq!(verdict(0.13, 0.01), Verdict::Outside); // 3 u beyond the reject edge
    assert_eq!(verdict(0.100_001, 0.0), Verdict::Outside);
    let single = Zone::at_most(0.05, None).unwrap();
    assert_eq!(decide(0.045, 0.01, &single, risks).unwrap().verdict, Verdict::CannotTell);
    assert_eq!(decide(0.075, 0.01, &single, risks).unwrap().verdict, Verdict::Outside);
    let low = Zone::at_least(10.0, Some(8.0)).unwrap();
    assert_eq!(decide(12.0, 0.5, &low, risks).unwrap().verdict, Verdict::Inside);
    assert_eq!(decide(9.2, 0.3, &low, risks).unwrap().verdict, Verdict::ByJudgement);
    assert_eq!(decide(7.0, 0.3, &low, risks).unwrap().verdict, Verdict::Outside);
    let both = Zone::within(0.025, 0.055).unwrap();
    // A gauge too wide for the tolerance can never say inside.
    assert_eq!(decide(0.040, 0.02, &both, risks).unwrap().verdict, Verdict::CannotTell);
}

proptest::proptest! {
    #[test]
    fn chances_sum_to_one_and_never_leave_their_range(value in -5.0..5.0_f64, u in 0.0..3.0_f64, keep in -1.0..1.0_f64, room in 0.0..2.0_f64) {
        let zone = Zone::at_most(keep, Some(keep + room)).unwrap();
        let decision = decide(value, u, &zone, Risks::default()).unwrap();
        for p in [decision.p_inside, decision.p_between, decision.p_outside] {
            proptest::prop_assert!((0.0..=1.0).contains(&p));
        }
        proptest::prop_assert!((decision.p_inside + decision.p_between + decision.p_outside - 1.0).abs() < 1e-12);
    }

    #[test]
    fn more_of_a_bad_thing_never_makes_the_verdict_milder(a in -5.0..5.0_f64, step in 0.0..3.0_f64, u in 0.0..2.0_f64) {
        let rank = |verdict| match verdict { Verdict::Inside => 0, Verdict::ByJudgement => 1, Verdict::CannotTell => 2, Verdict::Outside => 3 };
        let zone = Zone::at_most(0.0, Some(1.0)).unwrap();
        let at = |value: f64| rank(decide(value, u, &zone, Risks::default()).unwrap().verdict);
        proptest::prop_assert!(at(a) <= at(a + step));
    }
}

#[expect(clippy::unwrap_used, reason = "the helpers of a test may fail it")]
mod settling {
    use proptest::prelude::*;
    use quantity::{Risks, Verdict, Zone, decide, gauge_that_settles, repeats_that_settle, with_process};

    fn settled(value: f64, u: f64, zone: &Zone, risks: Risks) -> bool {
        decide(value, u, zone, risks).unwrap().verdict != Verdict::CannotTell
    }

    fn zones() -> impl Strategy<Value = Zone> {
        (proptest::array::uniform3(0.02..1.0_f64), 0..6_usize).prop_map(|([a, b, c], shape)| match shape {
            0 => Zone::at_most(a, None).unwrap(),
            1 => Zone::at_most(a, Some(a + b)).unwrap(),
            2 => Zone::at_least(a, None).unwrap(),
            3 => Zone::new(Some(-a), Some(b), None, None).unwrap(),
            4 => Zone::within(-a, b).unwrap(),
            _ => Zone::new(Some(-a - b), Some(-a), Some(c), Some(c + b)).unwrap(),
        })
    }

    proptest! {
        // Value by: the rule of decide itself, asked at many doubts on both sides of the answer; nothing is solved.
        #[test]
        fn the_gauge_that_settles_is_the_widest_below_which_every_gauge_settles(
            zone in zones(), value in -2.0..2.0_f64, risk in 0.001..0.3_f64, other in 0.001..0.3_f64
        ) {
            let risks = Risks::new(risk, other).unwrap();
            let widest = gauge_that_settles(value, &zone, risks).unwrap();
            for step in 1..400 {
                let u = if widest.is_finite() { widest * (1.0 - 1e-9) * f64::from(step) / 399.0 } else { f64::from(step) * 0.05 };
                prop_assert!(settled(value, u, &zone, risks), "{zone:?} {value} {risks:?}: {u} below {widest} does not settle");
            }
            if widest.is_finite() {
                prop_assert!(!settled(value, widest * (1.0 + 1e-9) + 1e-12, &zone, risks), "{zone:?} {value} {risks:?} {widest}");
            }
        }

        #[test]
        fn the_number_of_repeats_is_the_first_from_which_on_all_settle(
            zone in zones(), value in -2.0..2.0_f64, shared in 0.0..0.2_f64, spread in 0.0..0.5_f64
        ) {
            let risks = Risks::default();
            let most = 300_u32;
            let by_trying = {
                let mut first = None;
                for count in (1..=most).rev() {
                    if settled(value, shared.hypot(spread / f64::from(count).sqrt()), &zone, risks) {
                        first = Some(count);
                    } else {
                        break;
                    }
                }
                first
            };
            match repeats_that_settle(value, shared, spread, &zone, risks).unwrap() {
                Some(count) if count <= most => {
                    // A very wide doubt can settle again outside two edges; then the search below may go on further down.
                    prop_assert!(by_trying.is_some_and(|tried| tried <= count), "{count} {by_trying:?}");
                    let u = |count: u32| shared.hypot(spread / f64::from(count).sqrt());
                    let widest = gauge_that_settles(value, &zone, risks).unwrap();
                    prop_assert!(u(count) <= widest && (count == 1 || u(count - 1) > widest));
                    if by_trying != Some(count) {
                        prop_assert!(zone.keep().0.is_some() && zone.keep().1.is_some());
                    }
                }
                Some(_) | None => {
                    let two_edges = zone.keep().0.is_some() && zone.keep().1.is_some();
                    prop_assert!(by_trying.is_none() || two_edges, "{by_trying:?}");
                }
            }
        }
    }

    #[test]
    fn one_edge_has_the_closed_form_and_a_value_on_its_edge_is_never_settled() {
        let risks = Risks::default();
        let upper = Zone::at_most(0.1, None).unwrap();
        // Value by: distance over 1.6448536269514722, the normal quantile of SciPy 1.17.1.
        for value in [0.08, 0.13] {
            let widest = gauge_that_settles(value, &upper, risks).unwrap();
            assert!((widest - (0.1_f64 - value).abs() / 1.644_853_626_951_472_2).abs() < 1e-12, "{widest}");
        }
        assert!(gauge_that_settles(0.1, &upper, risks).unwrap() <= 0.0);
        assert_eq!(repeats_that_settle(0.1, 0.0, 0.01, &upper, risks).unwrap(), None);
        // 0.02 away, shared 0.005: u must be 0.012159; 0.02 of repeatability needs (0.02 / 0.011083)^2 = 3.26 readings.
        assert_eq!(repeats_that_settle(0.08, 0.005, 0.02, &upper, risks).unwrap(), Some(4));
        assert_eq!(repeats_that_settle(0.08, 0.013, 0.02, &upper, risks).unwrap(), None);
        assert!(repeats_that_settle(0.08, -0.013, 0.02, &upper, risks).is_err());
        assert!(gauge_that_settles(f64::NAN, &upper, risks).is_err());
    }

    // Source:   bore example of reference/metrology/statistics.py; JCGM 106:2012, 7.2 for the formula [published]
    // Value by: NumPy 2.4.6, reference/metrology/statistics.py
    #[test]
    fn what_the_process_is_known_to_make_moves_a_value_towards_it() {
        let (value, u) = with_process(86.0215, 0.003, (86.010, 0.005)).unwrap();
        assert!((value - 86.018_455_882_352_95).abs() < 1e-9 && (u - 0.002_572_478_777_137_632_5).abs() < 1e-12);
        assert!(with_process(1.0, 0.1, (1.0, 0.0)).is_err() && with_process(f64::NAN, 0.1, (1.0, 0.1)).is_err());
    }
}
