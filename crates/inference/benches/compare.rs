//! Exact means and a million draws of the worked example of six ways and twenty modes.
//!
//! `reference/choosing/peer.py` times `NumPy` and numba on the same.

#![expect(clippy::expect_used, clippy::print_stdout, reason = "a benchmark over a worked example")]

#[path = "../tests/choosing/example.rs"]
mod example;

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use inference::compare::{means, spread};

fn bench(c: &mut Criterion) {
    let choice = example::choice(include_str!("../../../reference/choosing/example.json"));
    let exact = means(&choice).expect("means");
    println!("{:?}", exact.ways.iter().map(|way| way.cost).collect::<Vec<_>>());
    let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().expect("one thread");
    let mut group = c.benchmark_group("six ways, twenty modes");
    group.sample_size(20);
    group.bench_function("exact means", |b| b.iter(|| means(black_box(&choice))));
    group.bench_function("exact means, one thread", |b| b.iter(|| one.install(|| means(black_box(&choice)))));
    group.sample_size(10);
    for (name, draws) in [("65 536 draws", 65_536), ("1e6 draws", 1_000_000)] {
        group.bench_function(name, |b| b.iter(|| spread(black_box(&choice), draws, 1)));
        group.bench_function(format!("{name}, one thread"), |b| {
            b.iter(|| one.install(|| spread(black_box(&choice), draws, 1)));
        });
    }
    group.finish();
}

criterion_group!(benches, bench);
criterion_main!(benches);
