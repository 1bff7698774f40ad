//! What the worked example has not: shared treatment, ages that were reached, two payers, days, things on top, value left.

use inference::compare::{
    Age, AgeBelief, Choice, Cover, Doubtful, FailureMode, Fitted, Law, Price, Surprise, Way, means, spread,
};
use inference::life::{Belief, Frailty, LifePrior};
use serde_json::Value;

pub(crate) fn known(shape: f64, scale: f64) -> LifePrior {
    let sure = |mean: f64| Belief { mean: mean.ln(), spread: 0.0 };
    LifePrior { ln_shape: sure(shape), ln_life: sure(scale), share: -(-1.0_f64).exp_m1() }
}

fn life(shape: f64, shape_spread: f64, scale: f64, scale_spread: f64) -> LifePrior {
    let belief = |mean: f64, spread: f64| Belief { mean: mean.ln(), spread };
    LifePrior::on_scale(belief(shape, shape_spread), belief(scale, scale_spread)).unwrap()
}

fn rounded(low: f64, likely: f64, high: f64) -> Law {
    Law::Rounded { low, likely, high }
}

/// The inputs of `reference/choosing/features.py`.
pub(crate) fn small() -> Choice {
    let mode = |name: &str, life, serious, ends, reached: &[usize], takes| FailureMode {
        name: name.to_owned(),
        life,
        serious,
        ends,
        reached: reached.to_vec(),
        takes,
    };
    let fitted = |parts: [(Option<usize>, f64, bool); 3]| {
        parts.iter().map(|&(age, strain, covered)| Some(Fitted { age, strain, covered })).collect::<Vec<_>>()
    };
    let cover = |party: &str, until_travel, until_years, pays| Cover {
        party: party.to_owned(),
        until_travel,
        until_years,
        pays,
    };
    let price = |name: &str, amount| Price { name: name.to_owned(), currency: "crowns".to_owned(), amount };
    let top =
        |chance, amount, days: f64| Surprise { name: "on top".to_owned(), chance, amount, days: Law::Known(days) };
    let way = |name: &str, price: usize, days, fitted, covers, surprises, left: f64, left_when_ended| Way {
        name: name.to_owned(),
        buys: vec![(price, 1.0)],
        days,
        surprises,
        fitted,
        covers,
        left: Law::Known(left),
        left_when_ended,
    };
    let (car, donor) = (Some(0), Some(1));
    Choice {
        currency: "crowns".to_owned(),
        years: 4.0,
        yearly: Doubtful { middle: 9000.0, spread_ln: 0.3 },
        interest: 0.05,
        treatment: Some(Frailty::of_variance(0.5).unwrap()),
        standing: Some(price("a day", Law::Triangular { low: 20.0, likely: 45.0, high: 70.0 })),
        ages: vec![
            Age {
                name: "car".to_owned(),
                belief: AgeBelief::Doubtful(Doubtful { middle: 110e3, spread_ln: 0.05 }),
                own: true,
            },
            Age {
                name: "donor".to_owned(),
                belief: AgeBelief::Nodes(vec![(60e3, 0.5), (90e3, 0.3), (140e3, 0.2)]),
                own: false,
            },
        ],
        prices: vec![
            price("repair", Law::Triangular { low: 800.0, likely: 1100.0, high: 1900.0 }),
            price("used", Law::ByFactor { middle: 2400.0, spread_ln: 0.2 }),
            price("nothing", Law::NOUGHT),
        ],
        modes: vec![
            mode(
                "soft",
                life(2.4, 0.2, 170e3, 0.3),
                true,
                false,
                &[0],
                [rounded(300.0, 500.0, 900.0), rounded(100.0, 200.0, 500.0), Law::Known(120.0), Law::Known(2.0)],
            ),
            mode(
                "hard",
                life(3.1, 0.15, 210e3, 0.25),
                true,
                true,
                &[0, 1],
                [rounded(900.0, 1500.0, 2500.0), rounded(1500.0, 2500.0, 4000.0), Law::Known(200.0), Law::Known(8.0)],
            ),
            mode(
                "small",
                life(0.8, 0.1, 90e3, 0.3),
                false,
                false,
                &[],
                [rounded(50.0, 80.0, 160.0), rounded(20.0, 60.0, 200.0), Law::NOUGHT, Law::Known(0.5)],
            ),
        ],
        ways: vec![
            way(
                "repair",
                0,
                rounded(3.0, 5.0, 9.0),
                fitted([(None, 1.2, true), (car, 1.0, false), (car, 1.0, false)]),
                vec![
                    cover("shop", 15e3, 1.5, [1.0, 1.0, 0.0, 0.0]),
                    cover("supplier", 30e3, f64::INFINITY, [0.0, 0.8, 0.0, 0.0]),
                ],
                vec![top(0.2, rounded(100.0, 300.0, 800.0), 2.0)],
                1500.0,
                0.25,
            ),
            way(
                "used",
                1,
                Law::Known(6.0),
                fitted([(donor, 1.1, true), (donor, 1.1, true), (car, 1.0, false)]),
                vec![cover("dismantler", 5e3, 0.25, [0.5, 1.0, 0.0, 0.5])],
                vec![top(0.35, Law::Known(400.0), 0.0)],
                2200.0,
                0.25,
            ),
            way(
                "nothing",
                2,
                Law::NOUGHT,
                fitted([(car, 3.0, false), (car, 2.0, false), (car, 1.5, false)]),
                Vec::new(),
                Vec::new(),
                900.0,
                0.0,
            ),
        ],
    }
}

fn reference() -> Value {
    serde_json::from_str(include_str!("../../../../reference/choosing/features.json")).unwrap()
}

fn column(name: &str) -> Vec<(f64, f64)> {
    let of = &reference()[name];
    let list = |what: &str| of[what].as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect::<Vec<_>>();
    list("value").into_iter().zip(list("standard_error")).collect()
}

fn near(what: &str, ours: f64, (value, error): (f64, f64)) {
    assert!((ours - value).abs() < 4.0 * error, "{what}: {ours} for {value} ({error})");
}

// Source: `reference/choosing/features.json`, 20 million weighted draws with NumPy. Tolerance: four of its standard errors.
#[test]
fn means_with_everything_are_those_of_plain_draws() {
    let ours = means(&small()).unwrap();
    assert_eq!(ours.parties, ["shop", "supplier", "dismantler"]);
    for (at, way) in ours.ways.iter().enumerate() {
        near("cost", way.cost, column("cost")[at]);
        near("trouble free", way.trouble_free, column("trouble_free")[at]);
        let paid: f64 = ours.ways.iter().map(|way| way.others[at]).sum();
        near("others", paid, column("others")[at]);
    }
}

// The tolerance adds four standard errors of as many plain draws of ours.
#[test]
fn draws_with_everything_are_those_of_plain_draws() {
    let draws = 262_144;
    let ours = spread(&small(), draws, 4).unwrap();
    let root = ours.effective.sqrt();
    assert!((ours.effective / 262_144.0 - reference()["effective_share"].as_f64().unwrap()).abs() < 0.01);
    for (at, way) in ours.ways.iter().enumerate() {
        let widened = |(value, error): (f64, f64), spread: f64| (value, error + spread / root);
        near("cost", way.mean, widened(column("cost")[at], way.spread));
        near("trouble free", way.trouble_free, widened(column("trouble_free")[at], 0.5));
        near("cheapest", way.cheapest, widened(column("cheapest")[at], 0.5));
        near("regret", way.regret, widened(column("regret")[at], way.spread));
        let spread = reference()["spread"][at].as_f64().unwrap();
        assert!((way.spread / spread - 1.0).abs() < 0.01, "{} for {spread}", way.spread);
    }
}

/// One way with parts of known exponential life.
fn exponential(rates: &[f64], ends: &[bool]) -> Choice {
    let mode = |(at, (rate, ends)): (usize, (&f64, &bool))| FailureMode {
        name: format!("mode {at}"),
        life: known(1.0, 1.0 / rate),
        reached: Vec::new(),
        serious: true,
        ends: *ends,
        takes: [Law::Known(1000.0), Law::NOUGHT, Law::NOUGHT, Law::NOUGHT],
    };
    Choice {
        currency: "crowns".to_owned(),
        years: 5.0,
        yearly: Doubtful { middle: 10e3, spread_ln: 0.0 },
        interest: 0.06,
        treatment: None,
        standing: None,
        ages: vec![Age {
            name: "own".to_owned(),
            belief: AgeBelief::Doubtful(Doubtful { middle: 80e3, spread_ln: 0.3 }),
            own: true,
        }],
        prices: Vec::new(),
        modes: rates.iter().zip(ends).enumerate().map(mode).collect(),
        ways: vec![Way {
            name: "one".to_owned(),
            buys: Vec::new(),
            days: Law::NOUGHT,
            surprises: Vec::new(),
            fitted: rates.iter().map(|_| Some(Fitted { age: Some(0), strain: 1.5, covered: true })).collect(),
            covers: Vec::new(),
            left: Law::NOUGHT,
            left_when_ended: 1.0,
        }],
    }
}

// By definition of the exponential law, which does not age: with rate a, discount d a mile and horizon h the mean cost is
// c a / (a + d) (1 - exp(-(a + d) h)), a cover until w leaves a share of the part up to w, and modes compete by their rates.
#[test]
fn parts_that_do_not_age_cost_what_the_closed_form_says() {
    let (a, d, h) = (1.5 / 90e3, 0.06 / 10e3, 50e3);
    let until = |rate: f64, x: f64| 1000.0 * a / (rate + d) * (1.0 - (-(rate + d) * x).exp());
    let mut choice = exponential(&[1.0 / 90e3], &[false]);
    let of = |choice: &Choice| means(choice).unwrap().ways.remove(0);
    let alone = of(&choice);
    assert!((alone.cost - until(a, h)).abs() < 1e-9 * until(a, h), "{} {}", alone.cost, until(a, h));
    assert!((alone.trouble_free - (-a * h).exp()).abs() < 1e-12);
    assert!((alone.comes[0] - (1.0 - (-a * h).exp())).abs() < 1e-9);

    choice.ways[0].covers =
        vec![Cover { party: "supplier".to_owned(), until_travel: 30e3, until_years: 2.0, pays: [0.75, 1.0, 1.0, 1.0] }];
    let covered = of(&choice);
    assert!((covered.others[0] - 0.75 * until(a, 20e3)).abs() < 1e-8, "{}", covered.others[0]);
    assert!((covered.cost - (until(a, h) - 0.75 * until(a, 20e3))).abs() < 1e-8);

    choice.treatment = Some(Frailty::of_variance(0.4).unwrap());
    let shared = of(&choice);
    let laplace = (1.0 + 0.4 * a * h).powf(-1.0 / 0.4);
    assert!((shared.trouble_free - laplace).abs() < 1e-9, "{} {laplace}", shared.trouble_free);

    let b = 1.5 / 60e3;
    let two = of(&exponential(&[1.0 / 90e3, 1.0 / 60e3], &[false, true]));
    assert!((two.by_mode[0] - until(a + b, h)).abs() < 1e-9 * until(a, h));
    assert!((two.comes[1] - (1.0 - (-b * h).exp())).abs() < 1e-9, "nothing stops the mode that ends the whole");
    assert!((two.goes_on - (-b * h).exp()).abs() < 1e-12);
}
