//! Greatest likelihood with late entry, the posterior of a mode, and several modes at once.
//!
//! `reference/life/peer.py` makes the same records from the same counter and times a library and `NumPy` on them.

#![expect(clippy::expect_used, clippy::print_stdout, reason = "a benchmark over made-up records")]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use inference::life::{
    Belief, Clock, Clocks, Frailty, History, LifePosterior, LifePrior, Lives, Mode, Part, Record, Watch, Weibull,
    outlook,
};
use inference::mileage::{Age, Claim, Habits, MeanTravel, Standing, Travel, true_travel};

/// An even number between nought and one for each counter: the mixer splitmix64.
fn even(counter: u64) -> f64 {
    let mut z = counter.wrapping_add(1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    let top = u32::try_from((z ^ (z >> 31)) >> 32).expect("half of the bits");
    (f64::from(top) + 0.5) / 4_294_967_296.0
}

struct Columns {
    at: Vec<f64>,
    failed: Vec<bool>,
    entered: Vec<f64>,
}

/// Records of shape 2.3 and scale 160 000, about two thirds of them watched late, all of them for a time only.
fn columns(rows: usize) -> Columns {
    let mut made = Columns { at: Vec::new(), failed: Vec::new(), entered: Vec::new() };
    let mut counter = 0;
    while made.at.len() < rows {
        let [which, when, life, watched] = [0, 1, 2, 3].map(|draw| even(4 * counter + draw));
        counter += 1;
        let entered = if which < 0.35 { 0.0 } else { 20e3 + 160e3 * when };
        let life = 160e3 * (-life.ln()).powf(1.0 / 2.3);
        if life > entered {
            let end = entered + 5e3 + 155e3 * watched;
            made.at.push(life.min(end));
            made.failed.push(life <= end);
            made.entered.push(entered);
        }
    }
    made
}

/// The twelve records of `reference/life/worked.json`.
fn twelve() -> Vec<Record> {
    let since = |age: f64| if age > 0.0 { Watch::Since(age) } else { Watch::FromNew };
    let failed = [(0.0, 112e3), (60e3, 141e3), (95e3, 128e3), (130e3, 187e3)].map(|(v, t)| Record::failed(t, since(v)));
    let good = [(0.0, 88e3), (40e3, 163e3), (110e3, 152e3), (70e3, 205e3), (0.0, 61e3), (25e3, 99e3)];
    let good = good.map(|(v, t)| Record::still_good(t, since(v)));
    let between = [(0.0, 90e3, 120e3), (50e3, 50e3, 134e3)].map(|(v, l, r)| Record::failed_between(l, r, since(v)));
    failed.into_iter().chain(good).chain(between).collect()
}

fn bench(c: &mut Criterion) {
    for (name, rows) in [("1e3", 1_000), ("1e5", 100_000), ("1e6", 1_000_000)] {
        let made = columns(rows);
        let fit = |made: &Columns| {
            History::of_columns(&made.at, &made.failed, &made.entered).expect("records").fit().expect("a fit")
        };
        println!("{name}: {:?}", fit(&made).law);
        let mut group = c.benchmark_group("greatest likelihood with late entry");
        group.sample_size(if rows > 10_000 { 20 } else { 100 });
        group.bench_function(name, |b| b.iter(|| fit(black_box(&made))));
        group.finish();
    }

    let records = twelve();
    let belief = |mean: f64, spread: f64| Belief { mean: mean.ln(), spread };
    let prior = LifePrior::on_scale(belief(2.5, 0.25), belief(180e3, 0.35)).expect("a prior");
    let posterior =
        |records: &[Record]| LifePosterior::of(&prior, &History::of(records).expect("records")).expect("a posterior");
    let survival = |records: &[Record]| posterior(records).survival(120e3, 36e3).expect("a chance");
    println!("survival: {}", survival(&records));
    c.bench_function("posterior of twelve records", |b| b.iter(|| posterior(black_box(&records))));
    c.bench_function("posterior of twelve records and survival", |b| b.iter(|| survival(black_box(&records))));

    let many = columns(1_000_000);
    let many = History::of_columns(&many.at, &many.failed, &many.entered).expect("records");
    c.bench_function("posterior of a million records, once summed", |b| {
        b.iter(|| LifePosterior::of(&prior, black_box(&many)))
    });

    let known = |shape, scale| Lives::Known(Weibull::new(shape, scale).expect("a law"));
    let mode = |lives: Lives| Mode {
        lives,
        clock: Clock::Travel,
        part: Part::Kept(Clocks { travel: 120e3, years: 10.0 }),
        strain: 1.0,
    };
    let laws = [(2.5, 180e3), (3.5, 150e3), (3.0, 260e3), (2.8, 230e3), (2.2, 210e3), (2.0, 120e3)];
    let six: Vec<Mode> = laws.map(|(shape, scale)| mode(known(shape, scale))).into();
    let doubtful: Vec<Mode> = (0..6).map(|_| mode(Lives::Doubtful(posterior(&records)))).collect();
    let ahead = Clocks { travel: 36e3, years: 3.0 };
    let frailty = Some(Frailty::of_variance(0.4).expect("a frailty"));
    for (name, modes, frailty) in [
        ("six known modes", &six, None),
        ("six known modes, shared treatment", &six, frailty),
        ("six doubtful modes", &doubtful, None),
        ("six doubtful modes, shared treatment", &doubtful, frailty),
    ] {
        c.bench_function(name, |b| b.iter(|| outlook(black_box(modes), ahead, frailty)));
    }

    let claim = Claim { claimed: 58e3, age: Age::Years(13.0), earlier: Vec::new(), standing: Standing::InItsWhole };
    let travel = Travel { mean: MeanTravel::Yearly(12e3), spread: 0.4 };
    let habits =
        Habits { turned_back: 0.05, swapped: 0.02, wrong_unit: 0.005, share_left: [0.3, 0.9], unit_ratio: 1.609_344 };
    c.bench_function("true travel behind a claim", |b| {
        b.iter(|| true_travel(black_box(&claim), &travel, &habits).map(|truth| truth.nodes()));
    });
}

criterion_group!(benches, bench);
criterion_main!(benches);
