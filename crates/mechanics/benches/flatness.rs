//! How long the flatness of a face takes: the smallest zone of a dial grid, and the interval from a straightedge.
//!
//! The same points as `reference/faces/peer.py` gives to `SciPy`, which also prints the ratio.
#![expect(clippy::unwrap_used, reason = "a bench may stop on what its own data does not allow")]

#[path = "../tests/heads/mod.rs"]
mod heads;

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use mechanics::flatness::{Point, least_squares, minimum_zone, worst_window};
use mechanics::straightedge::EdgeSurvey;
use mechanics::warp::{WarpFrame, WarpPoint, WarpPrior, warp_surface};

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

fn calculators(criterion: &mut Criterion) {
    for (name, head) in heads::all() {
        let rows: Vec<String> = head.dial.iter().map(|p| format!("{},{},{}", p[0], p[1], p[2])).collect();
        let points = rows.join("\n");
        criterion.bench_function(&format!("calc-grid-{name}"), |b| {
            b.iter(|| mechanics::calculate("flatness-grid", &[("points", black_box(&points))]).unwrap());
        });
    }
    for (name, head) in heads::all() {
        criterion.bench_function(&format!("window-150-{name}"), |b| {
            b.iter(|| worst_window(black_box(&head.dial), 150.0).unwrap());
        });
    }
    for id in ["flatness-straightedge", "cut-plan"] {
        let example = mechanics::calculator(id).unwrap().example;
        criterion.bench_function(&format!("calc-{id}-example"), |b| {
            b.iter(|| mechanics::calculate(id, black_box(example)).unwrap());
        });
    }
    let gaps = [("gaps", "0,0; 75,0.02; 150,0.05; 225,0.07; 300,0.06; 375,0.03; 450,0")];
    criterion.bench_function("calc-one-line", |b| {
        b.iter(|| mechanics::calculate("flatness-straightedge", black_box(&gaps)).unwrap());
    });
    let head = heads::all().remove("bowed").unwrap();
    let points: Vec<WarpPoint> =
        head.dial.iter().map(|p| WarpPoint { place: [p[0], p[1]], height: p[2], u: 0.002 }).collect();
    let frame = WarpFrame { from: [0.0, 0.0], to: [440.0, 150.0], columns: 45, rows: 16, sight: 20.0 };
    criterion.bench_function("warp-184-points-720-places", |b| {
        b.iter(|| warp_surface(black_box(&points), &[], &WarpPrior::USUAL, &frame).unwrap());
    });
}

criterion_group! {
    name = benches;
    config = Criterion::default().sample_size(20).measurement_time(std::time::Duration::from_secs(1)).warm_up_time(std::time::Duration::from_millis(300));
    targets = faces, straightedge, calculators
}
criterion_main!(benches);
