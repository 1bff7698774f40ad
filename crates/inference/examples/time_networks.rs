//! Times the general exact engine on the networks of `reference/networks`.
//!
//! `cargo run --release -p inference --example time_networks [folder] [name ...]`, or with `--json` first: one JSON line a network,
//! with evidence sets a and b in turn, for `cargo xtask bench-peers`.
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

/// The evidence of a set beside a network.
fn evidence(network: &Network, sets: &serde_json::Value, place: &str) -> Result<Evidence, Box<dyn Error>> {
    let mut evidence = Evidence::default();
    let pieces = sets.pointer(place).and_then(serde_json::Value::as_object);
    for (variable, state) in pieces.into_iter().flatten() {
        if let (Some(v), Some(state)) = (network.index_of(variable), state.as_u64()) {
            evidence.hard.insert(v, usize::try_from(state)?);
        }
    }
    Ok(evidence)
}

/// Rounds of one measure in JSON mode, and the time they may take together.
const ROUNDS: usize = 400;
const BUDGET: Duration = Duration::from_secs(3);

/// Least and median of as many rounds as fit, in milliseconds.
fn rounds(mut work: impl FnMut() -> Result<(), Box<dyn Error>>) -> Result<serde_json::Value, Box<dyn Error>> {
    let (begun, mut times) = (Instant::now(), Vec::new());
    while times.is_empty() || begun.elapsed() < BUDGET && times.len() < ROUNDS {
        let start = Instant::now();
        work()?;
        times.push(start.elapsed().as_secs_f64() * 1e3);
    }
    times.sort_by(f64::total_cmp);
    let at = |place: usize| times.get(place).copied().unwrap_or(f64::NAN);
    Ok(serde_json::json!({"least": at(0), "median": at(times.len() / 2), "rounds": times.len()}))
}

/// Times one network for the comparison with another program.
fn beside_a_peer(folder: &std::path::Path, name: &str) -> Result<(), Box<dyn Error>> {
    let network = Network::from_bif(&std::fs::read_to_string(folder.join(format!("{name}.bif")))?)?;
    let (file, root) = match std::fs::read_to_string(folder.join(format!("ref_{name}.json"))) {
        Ok(text) => (text, "/evidence"),
        Err(_) => (std::fs::read_to_string(folder.join(format!("{name}.scenario.json")))?, ""),
    };
    let sets: serde_json::Value = serde_json::from_str(&file)?;
    let a = evidence(&network, &sets, &format!("/a{root}"))?;
    let b = evidence(&network, &sets, &format!("/b{root}"))?;
    let tree = JunctionTree::new(&network, DEFAULT_LIMIT)?;
    let mut turn = false;
    let warm = rounds(|| {
        turn = !turn;
        std::hint::black_box(tree.posteriors(if turn { &a } else { &b })?);
        Ok(())
    })?;
    let cold = rounds(|| {
        let tree = JunctionTree::for_evidence(&network, &a, DEFAULT_LIMIT)?;
        std::hint::black_box(tree.posteriors(&a)?);
        Ok(())
    })?;
    let answer =
        serde_json::json!({"network": name, "variables": network.variables().len(), "warm": warm, "cold": cold});
    println!("{answer}");
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    let mut words = std::env::args().skip(1).peekable();
    let json = words.next_if(|word| word == "--json").is_some();
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
    if json {
        return names.iter().try_for_each(|name| beside_a_peer(&folder, name));
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
        let evidence = evidence(&network, &sets, "/a/evidence")?;
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
