//! `cargo xtask bench-peers`: the exact engine beside a general-purpose library, both in one run on this machine, one thread.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, ensure};
use serde_json::Value;

/// Seconds that one measure of the library may take \[ours\].
const BUDGET: &str = "3";
/// What the library is asked for, in the sequence of the table.
const NETWORKS: &[&str] = &[
    "asia",
    "child",
    "insurance",
    "water",
    "alarm",
    "hailfinder",
    "hepar2",
    "pathfinder",
    "andes",
    "pigs",
    "munin3",
    "engine_v8",
];

/// Builds the library's environment, runs both sides and writes `docs/benchmarks.md`; answers what was written.
///
/// # Errors
/// A side that cannot be built or run, or says something else than was asked.
pub fn bench_peers(root: &Path) -> Result<PathBuf> {
    let python = environment(root)?;
    let folder = root.join("reference/networks");
    let ours = run(Command::new("cargo")
        .current_dir(root)
        .args([
            "run",
            "--quiet",
            "--release",
            "--locked",
            "-p",
            "inference",
            "--example",
            "time_networks",
            "--",
            "--json",
        ])
        .arg(&folder)
        .args(NETWORKS))?;
    let peer = run(Command::new(python)
        .current_dir(root)
        .arg(root.join("reference/peers/networks.py"))
        .arg(&folder)
        .arg(BUDGET)
        .args(NETWORKS))?;
    let text = written(&by_network(&ours)?, &by_network(&peer)?)?;
    let path = root.join("docs/benchmarks.md");
    std::fs::write(&path, text).with_context(|| format!("write {}", path.display()))?;
    Ok(path)
}

/// The library with its pinned version, in a folder of its own under `target`.
fn environment(root: &Path) -> Result<PathBuf> {
    let folder = root.join("target/peers");
    let python = folder.join("bin/python");
    if !python.exists() {
        run(Command::new("python3").args(["-m", "venv"]).arg(&folder))?;
    }
    run(Command::new(&python)
        .args(["-m", "pip", "install", "--quiet", "--requirement"])
        .arg(root.join("reference/peers/requirements.txt")))?;
    Ok(python)
}

fn run(command: &mut Command) -> Result<String> {
    let shown = format!("{command:?}");
    let output = command.output().with_context(|| format!("run {shown}"))?;
    ensure!(output.status.success(), "{shown} ended badly: {}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).with_context(|| format!("{shown} said something that is no text"))
}

fn by_network(lines: &str) -> Result<BTreeMap<String, Value>> {
    let mut out = BTreeMap::new();
    for line in lines.lines().filter(|l| l.starts_with('{')) {
        let told: Value = serde_json::from_str(line).with_context(|| format!("read {line}"))?;
        let name = told.get("network").and_then(Value::as_str).context("a line names its network")?.to_owned();
        out.insert(name, told);
    }
    Ok(out)
}

/// The least time of a measure, in milliseconds.
fn least(told: &Value, measure: &str) -> Option<f64> {
    told.get(measure)?.get("least")?.as_f64()
}

/// The method of the library that takes least by a measure, with the time.
fn fastest<'v>(told: &'v Value, measure: &str) -> Option<(&'v str, f64)> {
    let methods = told.get("methods")?.as_object()?;
    let times = methods.iter().filter_map(|(name, m)| Some((name.as_str(), least(m, measure)?)));
    times.min_by(|a, b| a.1.total_cmp(&b.1))
}

fn written(ours: &BTreeMap<String, Value>, peer: &BTreeMap<String, Value>) -> Result<String> {
    let version = peer.values().find_map(|v| v.get("version")?.as_str()).context("the library says its version")?;
    let mut out = format!(
        "# Benchmarks\n\nMade by `cargo xtask bench-peers`: both sides in one run, one thread each, on\n{}.\n\nPeer: pyAgrum {version} \
         (a C++ core, called from Python), the fastest of its methods on each network. Times in milliseconds, least of\nthe rounds that fit in \
         three seconds. *Warm*: evidence changes, everything else is kept, the posterior of every variable is\nread. *Cold*: nothing is kept but \
         the network. *One read*: as warm, but only one posterior is read on the peer's side.\n\n\
         | network | variables | peer, warm | peer, one read | ours, warm | times faster | peer, cold | ours, cold | times faster |\n\
         | --- | --: | --: | --: | --: | --: | --: | --: | --: |\n",
        machine()
    );
    for name in NETWORKS {
        let (Some(us), Some(them)) = (ours.get(*name), peer.get(*name)) else { continue };
        let row = || -> Option<String> {
            let (warm, cold) = (least(us, "warm")?, least(us, "cold")?);
            let ((method, peer_warm), (_, peer_cold)) = (fastest(them, "warm")?, fastest(them, "cold")?);
            let one = fastest(them, "one")?.1;
            let variables = us.get("variables")?.as_u64()?;
            Some(format!(
                "| {name} | {variables} | {} ({method}) | {} | {} | {} | {} | {} | {} |",
                shown(peer_warm),
                shown(one),
                shown(warm),
                shown(peer_warm / warm),
                shown(peer_cold),
                shown(cold),
                shown(peer_cold / cold)
            ))
        };
        writeln!(out, "{}", row().with_context(|| format!("{name}: a measure is missing"))?)?;
    }
    out.push_str(
        "\nBelow about a hundred variables much of the peer's time is the call from Python for each variable, and not its sums: a\ncompiled \
         caller of the same library would lie between the columns *warm* and *one read* (for one posterior the library\nalso works less). A ratio \
         there says how a program in Python would fare, not that one algorithm is better. From\npathfinder on the sums count. On both sides every \
         posterior of the public networks agrees within 1e-9 (tests of `inference`,\nwith tables in double precision).\n",
    );
    Ok(out)
}

fn shown(x: f64) -> String {
    match x {
        x if x >= 100.0 => format!("{x:.0}"),
        x if x >= 10.0 => format!("{x:.1}"),
        x if x >= 1.0 => format!("{x:.2}"),
        x => format!("{x:.3}"),
    }
}

/// The processor and how many of it there are, in words.
fn machine() -> String {
    let told = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let model = told.lines().find_map(|l| l.strip_prefix("model name")?.split_once(':'));
    let model = model.map_or("an unnamed processor", |(_, name)| name.trim());
    let cores = told.lines().filter(|l| l.starts_with("processor")).count();
    format!("{model}, {cores} cores")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_takes_the_fastest_method_and_says_ratios_of_least_times() {
        let ours = by_network(r#"{"network": "asia", "variables": 8, "warm": {"least": 0.1}, "cold": {"least": 0.2}}"#);
        let peer = by_network(
            r#"{"network": "asia", "version": "9.9", "methods": {
                "Lazy": {"warm": {"least": 4.0}, "cold": {"least": 1.0}, "one": {"least": 3.0}},
                "ShaferShenoy": {"warm": {"least": 2.5}, "cold": {"least": 5.0}, "one": {"least": 1.5}}}}"#
                .replace('\n', " ")
                .as_str(),
        );
        let text = written(&ours.unwrap(), &peer.unwrap()).unwrap();
        assert!(
            text.contains("| asia | 8 | 2.50 (ShaferShenoy) | 1.50 | 0.100 | 25.0 | 1.00 | 0.200 | 5.00 |"),
            "{text}"
        );
        assert!(text.contains("pyAgrum 9.9"));
    }
}
