//! The sequence of tightening on twenty patterns: from the middle outwards, crosswise, the same for a pattern turned or
//! mirrored as far as the rule can tell.

#![expect(clippy::indexing_slicing, reason = "helpers of tests stop at the first surprise")]

use mechanics::tightening::{NoSequence, centre_outward};
use proptest::prelude::*;

/// Two rows of so many bolts, at this pitch and this distance of the rows, in millimetres.
fn rows(per_row: u32, pitch: f64, between: f64) -> Vec<(f64, f64)> {
    let mut out = Vec::new();
    for n in 0..per_row {
        let x = f64::from(n) * pitch;
        out.extend([(x, 0.0), (x, between)]);
    }
    out
}

/// A round flange of so many bolts.
fn flange(bolts: u32, radius: f64) -> Vec<(f64, f64)> {
    let angle = |n: u32| std::f64::consts::TAU * f64::from(n) / f64::from(bolts);
    (0..bolts).map(|n| (radius * angle(n).cos(), radius * angle(n).sin())).collect()
}

/// Twenty patterns as joints of engines have them, invented, with what they are.
fn patterns() -> Vec<(&'static str, Vec<(f64, f64)>)> {
    let mut six_round_each = flange(6, 60.0);
    six_round_each.extend(flange(6, 60.0).into_iter().map(|(x, y)| (x + 140.0, y)));
    let mut odd_end = rows(5, 92.0, 84.0);
    odd_end.push((410.0, 42.0));
    vec![
        ("head of a single, four bolts", vec![(0.0, 0.0), (80.0, 0.0), (80.0, 80.0), (0.0, 80.0)]),
        ("head of a single, six round the bore", flange(6, 62.0)),
        ("head of a flat twin, five round the bore", flange(5, 58.0)),
        ("head of two cylinders, six bolts", rows(3, 88.0, 78.0)),
        ("head of three cylinders, eight bolts", rows(4, 90.0, 80.0)),
        ("head of four cylinders, ten bolts", rows(5, 95.0, 76.0)),
        ("head of five cylinders, twelve bolts", rows(6, 91.0, 80.0)),
        ("head of six cylinders, fourteen bolts", rows(7, 103.0, 92.0)),
        ("head of a V8 bank, ten bolts", rows(5, 111.0, 100.0)),
        ("head of a large six, twenty-six bolts", rows(13, 70.0, 120.0)),
        ("two bores of six each", six_round_each),
        ("ten bolts and one at the chain end", odd_end),
        ("main cap, two bolts", vec![(0.0, 0.0), (0.0, 74.0)]),
        ("main cap, four bolts", vec![(0.0, 0.0), (0.0, 30.0), (0.0, 104.0), (0.0, 134.0)]),
        (
            "main cap, six bolts, two from the side",
            vec![(0.0, 0.0), (0.0, 30.0), (0.0, 104.0), (0.0, 134.0), (18.0, -20.0), (18.0, 154.0)],
        ),
        ("flywheel, eight bolts", flange(8, 38.0)),
        ("flywheel, six bolts", flange(6, 34.0)),
        ("carrier of a camshaft, twelve bolts", rows(6, 70.0, 40.0)),
        ("manifold, eight in one row", (0..8).map(|n| (f64::from(n) * 46.0, 0.0)).collect()),
        ("sump, a frame of fourteen", {
            let mut frame: Vec<(f64, f64)> = rows(6, 80.0, 220.0);
            frame.extend([(-30.0, 110.0), (430.0, 110.0)]);
            frame
        }),
    ]
}

fn middle(bolts: &[(f64, f64)]) -> (f64, f64) {
    let (mut low, mut high) = ((f64::MAX, f64::MAX), (f64::MIN, f64::MIN));
    for (x, y) in bolts {
        low = (low.0.min(*x), low.1.min(*y));
        high = (high.0.max(*x), high.1.max(*y));
    }
    (f64::midpoint(low.0, high.0), f64::midpoint(low.1, high.1))
}

fn reflected(bolts: &[(f64, f64)], n: usize) -> Option<usize> {
    let (mx, my) = middle(bolts);
    let (x, y) = bolts[n];
    bolts.iter().position(|(a, b)| (a + x - 2.0 * mx).hypot(b + y - 2.0 * my) < 1e-6)
}

#[test]
fn twenty_patterns_are_taken_from_the_middle_outwards_and_every_bolt_once() {
    let all = patterns();
    assert_eq!(all.len(), 20);
    for (name, bolts) in all {
        let order = centre_outward(&bolts).unwrap();
        let mut sorted = order.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, (0..bolts.len()).collect::<Vec<_>>(), "{name}");
        let (mx, my) = middle(&bolts);
        let far: Vec<f64> = order.iter().map(|n| (bolts[*n].0 - mx).hypot(bolts[*n].1 - my)).collect();
        let greatest = far.iter().copied().fold(0.0, f64::max);
        for pair in far.windows(2) {
            assert!(pair[1] >= pair[0] - 0.031 * greatest, "{name}: {far:?}");
        }
    }
}

#[test]
fn where_a_pattern_is_the_same_turned_by_half_opposite_bolts_follow_each_other() {
    let mut seen = 0;
    for (name, bolts) in patterns() {
        let opposite: Vec<Option<usize>> = (0..bolts.len()).map(|n| reflected(&bolts, n)).collect();
        if bolts.len() % 2 == 1 || opposite.iter().enumerate().any(|(n, o)| o.is_none_or(|o| o == n)) {
            continue;
        }
        seen += 1;
        let order = centre_outward(&bolts).unwrap();
        for pair in order.chunks(2) {
            assert_eq!(opposite[pair[0]], Some(pair[1]), "{name}: {order:?}");
        }
    }
    assert!(seen >= 16, "{seen} of twenty patterns");
}

// Worked by hand: bolts of one row counted 0, 2, 4, 6, 8 from the front, those of the other 1, 3, 5, 7, 9.
#[test]
fn ten_bolts_of_a_four_run_from_the_middle_pair_crosswise_to_the_ends() {
    let order = centre_outward(&rows(5, 95.0, 76.0)).unwrap();
    assert_eq!(order[..2].iter().copied().collect::<std::collections::BTreeSet<_>>(), [4, 5].into());
    assert_eq!(order[2..6].iter().copied().collect::<std::collections::BTreeSet<_>>(), [2, 3, 6, 7].into());
    assert_eq!(order[6..].iter().copied().collect::<std::collections::BTreeSet<_>>(), [0, 1, 8, 9].into());
    let diagonal = [(2, 7), (3, 6), (0, 9), (1, 8)];
    for pair in order[2..].chunks(2) {
        assert!(diagonal.contains(&(pair[0].min(pair[1]), pair[0].max(pair[1]))), "{order:?}");
    }
}

#[test]
fn a_round_flange_is_crossed_in_a_star() {
    let eight = centre_outward(&flange(8, 38.0)).unwrap();
    let step = |a: usize, b: usize| (a + 8 - b) % 8;
    assert_eq!(step(eight[1], eight[0]), 4, "the second stands opposite: {eight:?}");
    assert_eq!(step(eight[2], eight[0]) % 2, 0, "then a quarter round: {eight:?}");
    assert_eq!(step(eight[3], eight[2]), 4);
    assert_eq!((step(eight[5], eight[4]), step(eight[7], eight[6])), (4, 4));
}

#[test]
fn a_pattern_that_cannot_be_is_refused_with_the_bolt() {
    assert_eq!(centre_outward(&[]), Err(NoSequence::TooFew));
    assert_eq!(centre_outward(&[(0.0, 0.0)]), Err(NoSequence::TooFew));
    assert_eq!(centre_outward(&[(0.0, 0.0), (f64::NAN, 1.0)]), Err(NoSequence::NoPlace(2)));
    assert_eq!(centre_outward(&[(0.0, 0.0), (9.0, 1.0), (0.0, 0.0)]), Err(NoSequence::SamePlace(1, 3)));
}

proptest! {
    // Moving a pattern or writing it in inches changes nothing, and neither does the sequence in which it is typed as far as
    // no two bolts stand equally.
    #[test]
    fn a_pattern_moved_or_in_other_units_has_the_same_sequence(
        bolts in prop::collection::vec((-300.0..300.0_f64, -120.0..120.0_f64), 2..24),
        shift in (-50.0..50.0_f64, -50.0..50.0_f64),
    ) {
        let order = centre_outward(&bolts);
        prop_assume!(order.is_ok());
        let inches: Vec<(f64, f64)> = bolts.iter().map(|(x, y)| ((x + shift.0) / 25.4, (y + shift.1) / 25.4)).collect();
        // A gap between rings that stands at the edge of the rule may fall on either side of it.
        let (mx, my) = middle(&bolts);
        let mut far: Vec<f64> = bolts.iter().map(|(x, y)| (x - mx).hypot(y - my)).collect();
        far.sort_by(f64::total_cmp);
        let greatest = far.last().copied().unwrap_or(0.0);
        let at_edge = far.iter().any(|a| far.iter().any(|b| ((b - a) - 0.03 * greatest).abs() < 1e-6 * greatest));
        prop_assume!(!at_edge);
        prop_assert_eq!(order, centre_outward(&inches));
    }
}
