//! The work-up of the reference jobs, from a folded state to a case.

#![expect(clippy::expect_used, clippy::print_stdout, reason = "a benchmark over built-in jobs")]

use criterion::{Criterion, criterion_group, criterion_main};
use knowledge::Knowledge;
use logbook::{fold, seal_story, story_from_lines};

/// That of the program.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn job(text: &str) -> logbook::JobState {
    let lines = story_from_lines(text).expect("a story");
    fold(&seal_story("reference", &lines).expect("a sealed story"))
}

/// The reference jobs and the three stories: from nothing, with what no reading changes remembered, and to the first answer.
fn bench(c: &mut Criterion) {
    let knowledge = Knowledge::builtin().expect("the built-in knowledge");
    let jobs = [
        ("v8_32_valves", include_str!("reference_v8.jsonl")),
        ("v16_64_valves", include_str!("reference_v16.jsonl")),
        ("van", include_str!("../../../cases/0001-tolvane-carrier/story.jsonl")),
        ("flatbed", include_str!("../../../cases/0002-ostrand-h6/story.jsonl")),
        ("flat_twin", include_str!("../../../cases/0003-merrowin-f2/story.jsonl")),
    ];
    for (name, text) in jobs {
        let state = job(text);
        let remembered = workup::Remembered::default();
        let case = workup::work_up_again(&state, &knowledge, &remembered).expect("a case");
        println!("{name}: {} readings, accuracy {:e}", case.findings.len(), case.accuracy);
        let mut group = c.benchmark_group(name);
        group.sample_size(10);
        group.bench_function("work_up", |b| b.iter(|| workup::work_up(&state, &knowledge)));
        group.bench_function("again", |b| b.iter(|| workup::work_up_again(&state, &knowledge, &remembered)));
        group.bench_function("first_answer", |b| {
            b.iter(|| workup::work_up_in_two(&state, &knowledge, &remembered, |_| workup::Wanted::NoMore));
        });
        group.finish();
    }
}

criterion_group!(benches, bench);
criterion_main!(benches);
