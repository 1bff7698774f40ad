//! The work-up of the reference jobs, from a folded state to a case.

#![expect(clippy::expect_used, clippy::print_stdout, reason = "a benchmark over built-in jobs")]

use criterion::{Criterion, criterion_group, criterion_main};
use knowledge::Knowledge;
use logbook::{fold, seal_story, story_from_lines};

fn job(text: &str) -> logbook::JobState {
    let lines = story_from_lines(text).expect("a story");
    fold(&seal_story("reference", &lines).expect("a sealed story"))
}

fn bench(c: &mut Criterion) {
    let knowledge = Knowledge::builtin().expect("the built-in knowledge");
    for (name, text) in
        [("v8_32_valves", include_str!("reference_v8.jsonl")), ("v16_64_valves", include_str!("reference_v16.jsonl"))]
    {
        let state = job(text);
        let case = workup::work_up(&state, &knowledge).expect("a case");
        println!("{name}: {} readings, accuracy {:e}", case.findings.len(), case.accuracy);
        let mut group = c.benchmark_group("work_up");
        group.sample_size(10);
        group.bench_function(name, |b| b.iter(|| workup::work_up(&state, &knowledge)));
        group.finish();
    }
}

criterion_group!(benches, bench);
criterion_main!(benches);
