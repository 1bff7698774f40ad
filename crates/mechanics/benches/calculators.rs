//! How long each calculator takes for its own example, from typed texts to answer; wanted is under a millisecond.

use criterion::{Criterion, criterion_group, criterion_main};
use mechanics::catalogue;

fn every_example(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("example");
    for entry in catalogue() {
        group.bench_function(entry.id, |bench| bench.iter(|| entry.calculate(entry.example)));
    }
    group.finish();
}

fn draws(criterion: &mut Criterion) {
    let pairs = [
        ("housing", "57.007 mm ± 0.003 mm"),
        ("wall", "2.485 mm ± 0.0015 mm"),
        ("journal", "51.998 mm ± 0.0025 mm"),
        ("draws", "100000"),
    ];
    criterion.bench_function("100000 draws of a clearance", |bench| {
        bench.iter(|| mechanics::calculate("bearing-clearance", &pairs));
    });
}

criterion_group! {
    name = benches;
    config = Criterion::default()
        .sample_size(10)
        .warm_up_time(std::time::Duration::from_millis(50))
        .measurement_time(std::time::Duration::from_millis(200));
    targets = every_example, draws
}
criterion_main!(benches);
