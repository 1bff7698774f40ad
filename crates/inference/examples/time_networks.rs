//! Times the general exact engine on the networks of `reference/networks`.
//!
//! `cargo run --release -p inference --example time_networks [folder] [name ...]`
#![expect(
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a timing is printed for the person who asked for it"
)]

use std::error::Error;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use inference::{DEFAULT_LIMIT, Evidence, JunctionTree, Network};

const REPEATS: usize = 5;

fn best<T>(mut work: impl FnMut() -> T) -> (Duration, T) {
    let mut least = Duration::MAX;
    let mut repeats = REPEATS;
    loop {
        let start = Instant::now();
        let result = work();
        least = least.min(start.elapsed());
        repeats -= 1;
        if repeats == 0 {
            return (least, result);
        }
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut words = std::env::args().skip(1);
    let folder = words
        .next()
        .map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../reference/networks"), PathBuf::from);
    let mut names: Vec<String> = words.collect();
    if names.is_empty() {
        for entry in std::fs::read_dir(&folder)? {
            let path = entry?.path();
            if path.extension().is_some_and(|e| e == "bif")
                && let Some(stem) = path.file_stem()
            {
                names.push(stem.to_string_lossy().into_owned());
            }
        }
        names.sort();
    }
    println!(
        "milliseconds, best of {REPEATS}; one thread\n{:<12} {:>9} {:>12} {:>8} {:>8} {:>8} {:>8} {:>8}",
        "network", "variables", "entries", "read", "lay out", "answer", "fitted", "explain"
    );
    let ms = |d: Duration| format!("{:.2}", d.as_secs_f64() * 1e3);
    for name in names {
        let text = std::fs::read_to_string(folder.join(format!("{name}.bif")))?;
        let (read, network) = best(|| Network::from_bif(&text));
        let network = network?;
        let sets: serde_json::Value = match std::fs::read_to_string(folder.join(format!("ref_{name}.json"))) {
            Ok(text) => serde_json::from_str(&text)?,
            Err(_) => serde_json::Value::Null,
        };
        let mut evidence = Evidence::default();
        if let Some(pieces) = sets.pointer("/a/evidence").and_then(serde_json::Value::as_object) {
            for (variable, state) in pieces {
                if let (Some(v), Some(state)) = (network.index_of(variable), state.as_u64()) {
                    evidence.hard.insert(v, usize::try_from(state)?);
                }
            }
        }
        let (lay_out, tree) = best(|| JunctionTree::new(&network, DEFAULT_LIMIT));
        let tree = match tree {
            Ok(tree) => tree,
            Err(error) => {
                println!("{name:<12} {:>9} {error}", network.variables().len());
                continue;
            }
        };
        let (answer, result) = best(|| tree.posteriors(&evidence));
        result?;
        let (fitted, result) = best(|| {
            JunctionTree::for_evidence(&network, &evidence, DEFAULT_LIMIT).map(|tree| tree.posteriors(&evidence))
        });
        result??;
        let (explain, result) = best(|| tree.most_probable(&evidence));
        result?;
        println!(
            "{name:<12} {:>9} {:>12} {:>8} {:>8} {:>8} {:>8} {:>8}",
            network.variables().len(),
            tree.entries(),
            ms(read),
            ms(lay_out),
            ms(answer),
            ms(fitted),
            ms(explain)
        );
    }
    Ok(())
}
