//! How long the flatness of a face takes: the smallest zone of a dial grid, and the interval from a straightedge.
//!
//! The same points as `reference/faces/peer.py` gives to `SciPy`, which also prints the ratio.
#![expect(clippy::unwrap_used, reason = "a bench may stop on what its own data does not allow")]

#[path = "../tests/heads/mod.rs"]
mod heads;

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use mechanics::flatness::{Point, least_squares, minimum_zone};
use mechanics::straightedge::EdgeSurvey;

/// 100 by 100 places of a bowed, twisted, rippled face with steps of chance in it; peer.py has the same formula.
fn large() -> Vec<Point> {
    (0..10_000_u32)
        .map(|k| {
            let (u, v) = (f64::from(k % 100) / 49.5 - 1.0, f64::from(k / 100) / 49.5 - 1.0);
            let chance = f64::from((k * 7919) % 1009) / 1009.0 * 0.004;
            [
                220.0 * (u + 1.0),
                75.0 * (v + 1.0),
                0.1 * u * u + 0.04 * u * v + 0.003 * (37.0 * u + 11.0 * v).sin() + chance,
            ]
        })
        .collect()
}

fn faces(criterion: &mut Criterion) {
    for (name, head) in heads::all() {
        criterion
            .bench_function(&format!("zone-184-{name}"), |b| b.iter(|| minimum_zone(black_box(&head.dial)).unwrap()));
    }
    let head = heads::all().remove("bowed").unwrap();
    criterion.bench_function("least-squares-184-bowed", |b| b.iter(|| least_squares(black_box(&head.dial)).unwrap()));
    let large = large();
    criterion.bench_function("zone-10000", |b| b.iter(|| minimum_zone(black_box(&large)).unwrap()));
}

fn straightedge(criterion: &mut Criterion) {
    for (name, head) in heads::all() {
        criterion.bench_function(&format!("edge-quick-{name}"), |b| {
            b.iter(|| EdgeSurvey::new(black_box(&head.lines), heads::ASSUMED).unwrap().quick().unwrap());
        });
        criterion.bench_function(&format!("edge-proved-{name}"), |b| {
            b.iter(|| {
                EdgeSurvey::new(black_box(&head.lines), heads::ASSUMED).unwrap().interval(&mut |_| true).unwrap()
            });
        });
    }
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20).measurement_time(std::time::Duration::from_secs(1)).warm_up_time(std::time::Duration::from_millis(300));
    targets = faces, straightedge
}
criterion_main!(benches);
