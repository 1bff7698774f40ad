//! Readings that cannot all be true, against going through every state of the engine.

use inference::lanes::{LanesError, clash, drawn};
use inference::worst::{Reading, ReadingLink, Variable, WorstNet};

const VARIABLES: usize = 6;

/// Parts that are bad or not, independently of one another.
fn parts() -> WorstNet {
    let part = |index: usize| Variable {
        name: format!("part{index}"),
        states: vec!["sound".into(), "bad".into()],
        own: vec![0.7, 0.3],
        links: Vec::new(),
        root: index == 0,
        region: Vec::new(),
    };
    WorstNet { variables: (0..VARIABLES).map(part).collect() }
}

/// A look at some parts that never errs: whether any of them is bad.
fn look(of: u32, bad: bool) -> Reading {
    let given = if bad { vec![[1.0, 0.0], [0.0, 1.0]] } else { vec![[0.0, 1.0], [0.0, 0.0]] };
    let looked_at = (0..VARIABLES).filter(|v| of >> v & 1 == 1);
    let links = looked_at.map(|parent| ReadingLink { parent, given: given.clone() }).collect();
    let own = if bad { [1.0, 0.0] } else { [0.0, 1.0] };
    Reading { name: format!("{of:b} {bad}"), own, links, echo: 0.0 }
}

/// Whether some state of the parts answers all looks so.
fn possible(looks: &[(u32, bool)]) -> bool {
    (0..1u32 << VARIABLES).any(|state| looks.iter().all(|(of, bad)| (state & of != 0) == *bad))
}

#[test]
fn what_clashes_cannot_be_true_and_could_be_without_any_one_of_it() {
    let net = parts();
    let mut chance = 7u64;
    let mut next = |below: u64| {
        chance = chance.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (chance >> 33) % below
    };
    let mut sizes = [0; 6];
    for case in 0..400 {
        let given = usize::try_from(next(2)).unwrap();
        let count = 3 + usize::try_from(next(9)).unwrap();
        let look_at = |(of, bad): &(u32, bool)| look(*of, *bad);
        let looks: Vec<(u32, bool)> =
            (0..count).map(|_| (u32::try_from(next((1 << VARIABLES) - 1)).unwrap() + 1, next(3) == 0)).collect();
        let readings: Vec<Reading> = looks.iter().map(look_at).collect();
        let found = clash(&net, &readings, given).unwrap();
        assert_eq!(found.is_none(), possible(&looks), "case {case}: {looks:?}");
        assert_eq!(drawn(&net, &readings, 8, 1).is_ok_and(|d| d.met), possible(&looks), "case {case}");
        let Some(found) = found else { continue };
        assert!(found.is_sorted() && found.iter().all(|i| *i >= given), "case {case}: {found:?}");
        let with = |left_out: Option<usize>| {
            let kept = (0..given).chain(found.iter().copied().filter(|i| Some(*i) != left_out));
            kept.map(|i| looks[i]).collect::<Vec<_>>()
        };
        assert!(!possible(&with(None)), "case {case}: {found:?} of {looks:?}");
        for one in &found {
            assert!(possible(&with(Some(*one))), "case {case}: {found:?} clash without {one} as well");
        }
        sizes[found.len().min(5)] += 1;
    }
    assert!(sizes[2] > 20 && sizes[3] > 20 && sizes[4] > 0, "sets of two, three and four are tried: {sizes:?}");
}

#[test]
fn what_is_given_is_never_blamed_and_told_apart() {
    let mut never = look(0b1, true);
    never.own = [1.0, 0.0];
    never.links[0].given = vec![[1.0, 0.0], [1.0, 0.0]];
    let readings = [never, look(0b10, true)];
    assert!(matches!(clash(&parts(), &readings, 1), Err(LanesError::Impossible(_))));
    assert_eq!(clash(&parts(), &readings, 0), Ok(Some(vec![0])), "a reading that no engine can show stands alone");
}
