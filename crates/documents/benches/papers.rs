//! The papers of the three stories, warm: each by itself, and all of a job one after another.
//!
//! *New* is a paper whose job has moved on since it was last set: its end of chain differs, so the typesetter cannot give back what
//! it remembers of the whole page. *Again* is the same paper once more.

#![expect(clippy::expect_used, reason = "a benchmark over built-in jobs")]

use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use documents::papers::{JobPapers, PaperSize, due, typeset};
use knowledge::Knowledge;
use logbook::{fold, seal_story, story_from_lines};

fn bench(c: &mut Criterion) {
    let knowledge = Knowledge::builtin().expect("the built-in knowledge");
    let jobs = [
        ("van", include_str!("../../../cases/0001-tolvane-carrier/story.jsonl")),
        ("flatbed", include_str!("../../../cases/0002-ostrand-h6/story.jsonl")),
        ("flat_twin", include_str!("../../../cases/0003-merrowin-f2/story.jsonl")),
    ];
    for (name, text) in jobs {
        let lines = story_from_lines(text).expect("a story");
        let state = fold(&seal_story(name, &lines).expect("a sealed story"));
        let case = workup::work_up(&state, &knowledge).expect("a case");
        let from = JobPapers {
            case: &case,
            state: &state,
            knowledge: &knowledge,
            chain_tail: "00000000",
            issued: "2026-11-27".to_owned(),
            shop: None,
        };
        let papers = due(&case, &state, &knowledge);
        let mut group = c.benchmark_group(name);
        group.sample_size(10);
        let mut turn = 0_u32;
        let mut tail = || {
            turn += 1;
            format!("{turn:08x}")
        };
        for paper in &papers {
            group.bench_function(format!("{}/new", paper.word()), |b| {
                b.iter_batched(
                    &mut tail,
                    |tail| {
                        typeset(
                            *paper,
                            &JobPapers { chain_tail: &tail, issued: from.issued.clone(), ..from },
                            PaperSize::A4,
                        )
                    },
                    BatchSize::PerIteration,
                );
            });
            group.bench_function(format!("{}/again", paper.word()), |b| {
                b.iter(|| typeset(*paper, &from, PaperSize::A4))
            });
        }
        group.bench_function("all/new", |b| {
            b.iter_batched(
                &mut tail,
                |tail| {
                    let from = JobPapers { chain_tail: &tail, issued: from.issued.clone(), ..from };
                    papers.iter().map(|paper| typeset(*paper, &from, PaperSize::A4)).collect::<Vec<_>>()
                },
                BatchSize::PerIteration,
            );
        });
        group.finish();
    }
}

criterion_group!(benches, bench);
criterion_main!(benches);
